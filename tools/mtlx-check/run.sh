#!/usr/bin/env bash
# Checks MaterialX documents by the standard libraries. Without python3, or the package, it says so loudly and lets the rest go
# on, since nothing but this check needs them.
set -uo pipefail
here=$(cd "$(dirname "$0")" && pwd)
skipped() { printf '\n!!!!!!!! NOT CHECKED: the MaterialX documents (%s)\n\n' "$1" >&2; exit 0; }
command -v python3 >/dev/null || skipped "python3 is not installed"
room="${TMPDIR:-/tmp}/tatter-mtlx-check-$(id -u)"
if ! "$room/bin/python3" -c 'import MaterialX' 2>/dev/null; then
  python3 -m venv "$room" || skipped "python3 has no venv"
  "$room/bin/python3" -m pip install --quiet --disable-pip-version-check -r "$here/requirements.txt" \
    || skipped "the package MaterialX can't be fetched"
fi
exec "$room/bin/python3" "$here/check.py" "$@"
