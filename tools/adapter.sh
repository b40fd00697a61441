#!/usr/bin/env bash
# Sees to a graphics adapter: does nothing where a Vulkan driver is installed, else installs one in software (Debian, Ubuntu).
set -euo pipefail
shopt -s nullglob
drivers=(/usr/share/vulkan/icd.d/*.json /etc/vulkan/icd.d/*.json /usr/local/share/vulkan/icd.d/*.json)
if [ -n "${VK_DRIVER_FILES:-}" ] || { [ ${#drivers[@]} -gt 0 ] && ldconfig -p | grep -q 'libvulkan\.so\.1'; }; then
    exit 0
fi
case "$(uname -s)" in
    Darwin | MINGW* | MSYS*) exit 0 ;; # their drivers come with the system
esac
if ! command -v apt-get >/dev/null; then
    echo "No Vulkan driver was found, and there is no apt-get: install your system's package of Mesa's Vulkan drivers and the Vulkan loader." >&2
    exit 1
fi
as_root() { if [ "$(id -u)" = 0 ]; then "$@"; else sudo "$@"; fi; }
as_root apt-get update -qq
as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends mesa-vulkan-drivers libvulkan1
