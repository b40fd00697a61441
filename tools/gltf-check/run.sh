#!/usr/bin/env bash
# Runs the glTF validator over the files given. Without node, npm or the package, it says so loudly and lets the rest go on,
# since nothing but this check needs them.
set -uo pipefail
files=()
for file in "$@"; do files+=("$(realpath "$file")"); done
cd "$(dirname "$0")"
skipped() { printf '\n!!!!!!!! NOT CHECKED: the glTF files (%s)\n\n' "$1" >&2; exit 0; }
command -v node >/dev/null && command -v npm >/dev/null || skipped "node or npm is not installed"
[ -d node_modules/gltf-validator ] || npm install --silent --no-audit --no-fund --no-package-lock || skipped "the package gltf-validator can't be fetched"
exec node check.mjs "${files[@]}"
