// Draws sample models with the reference renderer in a headless Chromium.
//   CHROMIUM=/usr/bin/chromium node draw.mjs MODELS OUT
// MODELS is what `cargo build --workspace --example sample_models && target/debug/examples/sample_models` wrote; OUT gets NAME.png of each.
import { createServer } from "node:http";
import { readFile, writeFile, mkdir } from "node:fs/promises";
import { join } from "node:path";
import { chromium } from "playwright-core";

const [models, out] = process.argv.slice(2);
await mkdir(out, { recursive: true });
const LIBRARY = "node_modules/@khronosgroup/gltf-viewer/dist";
const list = (await readFile(join(models, "models.jsonl"), "utf8")).trim().split("\n").map((line) => JSON.parse(line));
const KINDS = { ".js": "text/javascript", ".wasm": "application/wasm", ".html": "text/html" };

// Columns and rows of the sky.
const SKY = [128, 64];
// Each pixel is the mean of this many squared, so that outlines are as smooth as ours.
const FINER = 4;

const pages = {
  "/": async () => "<!doctype html><meta charset=utf-8><title>reference</title>",
  "/favicon.ico": async () => "",
  "/studio.hdr": async () => radiance(await readFile(join(models, "studio.sky")), SKY),
};
for (const model of list) {
  pages[`/${model.name}.glb`] = async () => completed(await readFile(join(models, `${model.name}.glb`)), model);
}
const server = createServer(async (request, response) => {
  const page = pages[request.url];
  try {
    const body = page ? await page() : await readFile(join(LIBRARY, request.url));
    const kind = request.url === "/" ? ".html" : request.url.slice(request.url.lastIndexOf("."));
    response.writeHead(200, { "content-type": KINDS[kind] ?? "application/octet-stream" }).end(body);
  } catch {
    response.writeHead(404).end();
  }
});
await new Promise((ready) => server.listen(0, "127.0.0.1", ready));

// The file with an eye and a lamp (KHR_lights_punctual: a directional light shines along -z of its node).
function completed(bytes, { eye, field, towards, irradiance }) {
  const length = bytes.readUInt32LE(12);
  const root = JSON.parse(bytes.subarray(20, 20 + length).toString());
  const rest = bytes.subarray(20 + length);
  const strength = Math.max(...irradiance);
  root.cameras = [{ type: "perspective", perspective: { yfov: field, aspectRatio: 1, znear: 0.05, zfar: 100 } }];
  const eyes = root.nodes.push({ camera: 0, matrix: eye }) - 1;
  root.scenes[0].nodes.push(eyes);
  if (strength > 0) {
    root.extensionsUsed = [...(root.extensionsUsed ?? []), "KHR_lights_punctual"];
    const color = irradiance.map((v) => v / strength);
    root.extensions = { KHR_lights_punctual: { lights: [{ type: "directional", color, intensity: strength }] } };
    const lamp = { extensions: { KHR_lights_punctual: { light: 0 } }, rotation: fromZ(towards) };
    root.scenes[0].nodes.push(root.nodes.push(lamp) - 1);
  }
  let json = Buffer.from(JSON.stringify(root));
  json = Buffer.concat([json, Buffer.alloc((4 - (json.length % 4)) % 4, " ")]);
  const head = Buffer.alloc(20);
  bytes.copy(head, 0, 0, 20);
  head.writeUInt32LE(20 + json.length + rest.length, 8);
  head.writeUInt32LE(json.length, 12);
  return Buffer.concat([head, json, rest]);
}

// The shortest turn of +z onto a direction, as a quaternion.
function fromZ([x, y, z]) {
  const q = [-y, x, 0, 1 + z];
  const length = Math.hypot(...q);
  return q.map((v) => v / length);
}

// A Radiance picture without run lengths; eight bits and a shared exponent hold a sky to a part in 256.
function radiance(floats, [width, height]) {
  const head = Buffer.from(`#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y ${height} +X ${width}\n`);
  const body = Buffer.alloc(4 * width * height);
  for (let i = 0; i < width * height; i++) {
    const color = [0, 4, 8].map((at) => floats.readFloatLE(12 * i + at));
    const most = Math.max(...color);
    if (most < 1e-9) continue;
    const exponent = Math.floor(Math.log2(most)) + 1;
    color.forEach((v, c) => (body[4 * i + c] = Math.min(255, Math.round((v / 2 ** exponent) * 256))));
    body[4 * i + 3] = exponent + 128;
  }
  return Buffer.concat([head, body]);
}

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM,
  headless: true,
  args: ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--ignore-gpu-blocklist"],
});
try {
  const page = await browser.newPage();
  page.on("console", (message) => console.error(`browser: ${message.text()}`));
  page.on("pageerror", (error) => console.error(`browser: ${error}`));
  await page.goto(`http://127.0.0.1:${server.address().port}/`);
  await page.evaluate(prepared, { side: list[0].side * FINER });
  for (const model of list) {
    const picture = await page.evaluate(drawn, { model, finer: FINER });
    await writeFile(join(out, `${model.name}.png`), Buffer.from(picture.split(",")[1], "base64"));
    console.log(`${model.name}.png`);
  }
} finally {
  await browser.close();
  server.close();
}

// Runs in the page: one adapter's context and one sky for all models, since blurring the sky takes a minute in software.
async function prepared({ side }) {
  // Decoders of compressed textures and meshes, which none of the models has.
  globalThis.LIBKTX = async () => ({});
  globalThis.DracoDecoderModule = async () => ({});
  const { GltfView, GltfState } = await import("/gltf-viewer.module.js");
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = side;
  const context = canvas.getContext("webgl2", { alpha: false, antialias: false, preserveDrawingBuffer: true });
  const view = new GltfView(context);
  const loader = view.createResourceLoader(undefined, undefined, "/libs/");
  const state = view.createState();
  state.environment = await loader.loadEnvironment("/studio.hdr", { lut_sheen_E_file: sheenTable() });
  globalThis.table = { GltfState, context, view, loader, state, side };

  // What the library's package leaves out: how much of a white sky a sheen of colour 1 sends, by cosine of the look (right) and
  // roughness (down): KHR_materials_sheen's distribution and visibility, summed evenly over the hemisphere.
  function sheenTable() {
    const SIZE = 64;
    const table = document.createElement("canvas");
    table.width = table.height = SIZE;
    const paper = table.getContext("2d");
    const picture = paper.createImageData(SIZE, SIZE);
    for (let j = 0; j < SIZE; j++) {
      for (let i = 0; i < SIZE; i++) {
        const value = Math.round(255 * Math.min(1, albedo((i + 0.5) / SIZE, Math.max((j + 0.5) / SIZE, 0.07) ** 2)));
        picture.data.set([value, value, value, 255], 4 * (j * SIZE + i));
      }
    }
    paper.putImageData(picture, 0, 0);
    return table.toDataURL("image/png");
  }
  function albedo(nv, alpha) {
    const [STEPS, TURNS] = [48, 48];
    let sum = 0;
    for (let a = 0; a < STEPS; a++) {
      const nl = (a + 0.5) / STEPS;
      for (let b = 0; b < TURNS; b++) {
        const turn = ((b + 0.5) / TURNS) * Math.PI;
        const l = [Math.sqrt(1 - nl * nl) * Math.cos(turn), Math.sqrt(1 - nl * nl) * Math.sin(turn), nl];
        const h = [l[0] + Math.sqrt(1 - nv * nv), l[1], nl + nv];
        const nh = Math.min(1, h[2] / Math.hypot(...h));
        const distribution = ((2 + 1 / alpha) * (1 - nh * nh) ** (0.5 / alpha)) / (2 * Math.PI);
        sum += (distribution * nl) / ((1 + lambda(nv, alpha) + lambda(nl, alpha)) * 4 * nl * nv);
      }
    }
    return (sum * 2 * Math.PI) / (STEPS * TURNS);
  }
  function lambda(cosine, alpha) {
    const t = (1 - alpha) ** 2;
    const [a, b, c, d, e] = [[21.5473, 25.3245], [3.82987, 3.32435], [0.19823, 0.16801], [-1.9776, -1.27393], [-4.32054, -4.85967]].map(([rough, smooth]) => rough + (smooth - rough) * t);
    const curve = (x) => a / (1 + b * x ** c) + d * x + e;
    return Math.exp(cosine < 0.5 ? curve(cosine) : 2 * curve(0.5) - curve(1 - cosine));
  }
}

// Runs in the page: a data URL of the picture.
async function drawn({ model, finer }) {
  const { GltfState, context, view, loader, state, side } = globalThis.table;
  state.gltf = await loader.loadGltf(`/${model.name}.glb`);
  state.sceneIndex = 0;
  state.cameraNodeIndex = state.gltf.nodes.findIndex((node) => node.camera !== undefined);
  state.cameraIndex = 0;
  Object.assign(state.renderingParameters, {
    toneMap: GltfState.ToneMaps.NONE,
    clearColor: [0, 0, 0, 255],
    renderEnvironmentMap: false,
    usePunctual: true,
    useIBL: model.sky > 0,
    iblIntensity: model.sky,
    // The middle of the sky's picture is -z here, +z there by default.
    environmentRotation: 270,
    useDirectionalLightsWithDisabledIBL: false,
  });
  // The first frame only makes its programs.
  view.renderFrame(state, side, side);
  view.renderFrame(state, side, side);
  const fine = new Uint8Array(4 * side * side);
  context.readPixels(0, 0, side, side, context.RGBA, context.UNSIGNED_BYTE, fine);
  // The library codes light for the screen by a plain power.
  const light = (v) => v ** 2.2;
  const code = (v) => (v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055);
  const small = document.createElement("canvas");
  small.width = small.height = model.side;
  const paper = small.getContext("2d");
  const picture = paper.createImageData(model.side, model.side);
  for (let y = 0; y < model.side; y++) {
    for (let x = 0; x < model.side; x++) {
      for (let c = 0; c < 3; c++) {
        let sum = 0;
        // The adapter's rows begin at the bottom.
        for (let j = 0; j < finer; j++) for (let i = 0; i < finer; i++) sum += light(fine[4 * ((side - 1 - (y * finer + j)) * side + x * finer + i) + c] / 255);
        picture.data[4 * (y * model.side + x) + c] = Math.round(255 * code(sum / finer ** 2));
      }
      picture.data[4 * (y * model.side + x) + 3] = 255;
    }
  }
  paper.putImageData(picture, 0, 0);
  return small.toDataURL("image/png");
}
