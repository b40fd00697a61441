#!/usr/bin/env python3
"""Every dependency must be usable under a permissive licence. Reads `cargo metadata`; exits 1 with a list otherwise."""
import json
import re
import subprocess
import sys

ALLOWED = {
    "MIT", "MIT-0", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause", "ISC", "Zlib",
    "0BSD", "CC0-1.0", "Unlicense", "Unicode-3.0", "BSL-1.0",
}


def satisfied(expression):
    """Whether an SPDX expression can be met from the list: OR needs one side, AND needs both."""
    text = expression.replace("/", " OR ")
    tokens = re.findall(r"\(|\)|\bOR\b|\bAND\b|[^\s()]+(?:\s+WITH\s+\S+)?", text)
    place = 0

    def any_of():
        nonlocal place
        value = all_of()
        while place < len(tokens) and tokens[place] == "OR":
            place += 1
            value = all_of() or value
        return value

    def all_of():
        nonlocal place
        value = one()
        while place < len(tokens) and tokens[place] == "AND":
            place += 1
            value = one() and value
        return value

    def one():
        nonlocal place
        token = tokens[place]
        place += 1
        if token == "(":
            value = any_of()
            place += 1
            return value
        return token in ALLOWED

    return any_of()


def main():
    command = ["cargo", "metadata", "--format-version", "1", "--locked"]
    packages = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)["packages"]
    bad = [f"{p['name']} {p['version']}: {p['license']}" for p in packages if not satisfied(p["license"] or "none stated")]
    if bad or len(packages) < 10:
        print("licences not on the list:", *bad, sep="\n  ")
        sys.exit(1)
    print(f"licences: {len(packages)} packages, all on the list")


main()
