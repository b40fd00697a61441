#!/usr/bin/env bash
# Pictures of the desk: every station with the sample job on the table, light and dark, at single and double scale, drawn without a window by an
# adapter, one in software will do. Those that the documents show are taken over into docs/pictures, in 256 colours: look at them before you keep them.
#
# Needs Python and a Vulkan driver; on Debian and Ubuntu it installs one in software where none is. A quarter of an hour on two busy cores without a card.
# Usage: tools/desk-pictures.sh [FOLDER]; the folder keeps all pictures, otherwise they are taken away at the end.
set -euo pipefail
root=$(cd "$(dirname "$0")/.." && pwd)
"$root/tools/adapter.sh"
(cd "$root" && cargo build --workspace --locked --bin tatter --example pictures)
programs="${CARGO_TARGET_DIR:-$root/target}/debug"
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
export XDG_RUNTIME_DIR="$scratch"
chmod 700 "$scratch"
folder="${1:-$scratch/pictures}"
"$programs/tatter" demo "$scratch/salt-ledger" --quiet >/dev/null
"$programs/examples/pictures" "$folder" "$scratch/salt-ledger"
# Both themes; at double scale each would be four times as large.
for shown in start-light photo-dark patch-light loom-dark garment-light scatter-dark delivery-dark; do
  python3 "$root/tools/small_png.py" "$folder/$shown-1x.png" "$root/docs/pictures/desk-${shown%-*}.png"
done
ls -l "$root"/docs/pictures/desk-*.png
