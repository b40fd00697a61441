#!/usr/bin/env bash
# Times Tatter beside the reference script, on this machine in one run, and prints a table in Markdown.
#   tools/bench/run.sh [FOLDER [ROUNDS]]
# FOLDER (default: target/bench) keeps what is worked on, about 400 MB. Needs python3 with venv, and the network once, for
# the packages that requirements.txt pins.
set -euo pipefail
cd "$(dirname "$0")/../.."
folder=${1:-${CARGO_TARGET_DIR:-target}/bench}
mkdir -p "$folder"
folder=$(cd "$folder" && pwd)
if [ ! -x "$folder/python/bin/python" ]; then
  python3 -m venv "$folder/python"
fi
"$folder/python/bin/pip" install --quiet --disable-pip-version-check -r tools/bench/requirements.txt
cargo bench --locked --profile dev --workspace --bench job -- "$folder" "${2:-5}" "$folder/python/bin/python"
