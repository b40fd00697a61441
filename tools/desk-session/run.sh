#!/usr/bin/env bash
# One session at the desk in a real window, with real pointer and key events: a job and a photo are opened, the photo cut and accepted, the patch
# laid, the textures delivered. What lies there afterwards must be, byte for byte, what the command line makes of the same.
#
# Needs Xvfb, xdotool, a D-Bus daemon and the AT-SPI bus, and a Vulkan driver, one in software will do; on Debian and Ubuntu it installs what is
# missing. Things to press are found by what readers of screens are told of them.
# Usage: tools/desk-session/run.sh [FOLDER [PHOTO MILLIMETRES MESH]]; the folder keeps what was made and pictures of the window, otherwise it is
# taken away at the end. Without a photo, the cloth's millimetres that it shows from left to right, and a garment's mesh (its folder is copied, with the
# textures), the sample job is taken.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
packages=(xvfb xdotool dbus at-spi2-core python3-gi gir1.2-atspi-2.0 libxkbcommon-x11-0 libxcursor1 libxi6 libxrandr2)
missing() {
  for program in Xvfb xdotool dbus-run-session; do command -v "$program" >/dev/null || return 0; done
  ! /usr/bin/python3 -c 'import gi; gi.require_version("Atspi", "2.0")' 2>/dev/null
}
if missing; then
  command -v apt-get >/dev/null || { echo "These are needed: ${packages[*]}" >&2; exit 1; }
  as_root() { if [ "$(id -u)" = 0 ]; then "$@"; else sudo "$@"; fi; }
  as_root apt-get update -qq
  as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${packages[@]}" >/dev/null
fi
"$root/tools/adapter.sh"
(cd "$root" && cargo build --workspace --locked --bin tatter --bin tatter-desk)
programs="${CARGO_TARGET_DIR:-$root/target}/debug"
if [ $# -ne 0 ] && [ $# -ne 1 ] && [ $# -ne 4 ]; then
  echo "Give a folder, or a folder, a photo, its millimetres from left to right, and a mesh." >&2
  exit 2
fi
own=()
if [ $# -eq 4 ]; then own=("$(realpath "$2")" "$3" "$(realpath "$4")"); fi
if [ $# -gt 0 ]; then
  mkdir -p "$1"
  scratch=$(cd "$1" && pwd)
else
  scratch=$(mktemp -d)
  trap 'rm -rf "$scratch"' EXIT
fi
mkdir -p "$scratch/home" "$scratch/run"
chmod 700 "$scratch/run"
export HOME="$scratch/home" XDG_RUNTIME_DIR="$scratch/run" XDG_STATE_HOME="$scratch/home/state"
dbus-run-session -- /usr/bin/python3 "$here/session.py" "$programs" "$scratch" "${own[@]}" 2> >(grep -v '^dbus-daemon\|^SpiRegistry' >&2)
