// Runs the glTF validator (npm package gltf-validator, version pinned in package.json) over files; fails on any error.
//   cd tools/gltf-check && npm install --no-audit --no-fund && node check.mjs FILE.glb ...
import { readFile } from "node:fs/promises";
import { dirname, resolve } from "node:path";
import { validateBytes } from "gltf-validator";

const files = process.argv.slice(2);
if (files.length === 0) {
  console.error("usage: node check.mjs FILE.glb ...");
  process.exit(2);
}
let failed = false;
for (const file of files) {
  const report = await validateBytes(new Uint8Array(await readFile(file)), {
    uri: file,
    externalResourceFunction: (uri) =>
      readFile(resolve(dirname(file), decodeURIComponent(uri))).then((bytes) => new Uint8Array(bytes)),
  });
  const { numErrors, numWarnings, numInfos } = report.issues;
  console.log(`${file}: ${numErrors} errors, ${numWarnings} warnings, ${numInfos} infos`);
  for (const message of report.issues.messages.filter((m) => m.severity < 3)) {
    console.log(`  ${message.code} at ${message.pointer}: ${message.message}`);
  }
  failed ||= numErrors > 0;
}
process.exit(failed ? 1 : 0);
