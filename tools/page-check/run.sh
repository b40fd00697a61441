#!/usr/bin/env bash
# Opens the pages given in a headless browser and uses them: page-check/run.sh [--shots DIR] INDEX.html...
# Installs Debian's Chromium where there is none. Without it, node, npm or the package it says so loudly and lets the rest go on, since
# nothing but this check needs them.
set -uo pipefail
arguments=()
for argument in "$@"; do
    case "$argument" in
        --*) arguments+=("$argument") ;;
        *) arguments+=("$(realpath "$argument")") ;;
    esac
done
cd "$(dirname "$0")"
skipped() { printf '\n!!!!!!!! NOT CHECKED: the pages of proofs (%s)\n\n' "$1" >&2; exit 0; }
command -v node >/dev/null && command -v npm >/dev/null || skipped "node or npm is not installed"
browser() { command -v chromium || command -v chromium-browser; }
as_root() { if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi; }
if ! browser >/dev/null && command -v apt-get >/dev/null; then
    as_root apt-get update -qq >/dev/null &&
        as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium >/dev/null
fi
browser >/dev/null || skipped "Chromium can't be installed"
[ -d node_modules/playwright-core ] || npm install --silent --no-audit --no-fund --no-package-lock || skipped "the package playwright-core can't be fetched"
CHROMIUM="$(browser)" exec node check.mjs "${arguments[@]}"
