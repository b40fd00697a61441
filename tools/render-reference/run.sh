#!/usr/bin/env bash
# Draws the golden pictures of `crates/tatter/tests/sample_models` anew with the reference renderer, for a person to look at and commit.
# Needs node, npm, Chromium and the network once; tests need none of them.
set -euo pipefail
cd "$(dirname "$0")/../.."
models=$(mktemp -d)
trap 'rm -rf "$models"' EXIT
# Of the whole workspace: with one package chosen, its dependencies have other features and are compiled once more.
cargo build --locked -q --workspace --example sample_models
"${CARGO_TARGET_DIR:-target}/debug/examples/sample_models" "$models"
cd tools/render-reference
[ -d node_modules/@khronosgroup ] || npm install --silent --no-audit --no-fund --no-package-lock
CHROMIUM=$(command -v chromium || command -v chromium-browser) node draw.mjs "$models" ../../crates/tatter/tests/sample_models/golden
