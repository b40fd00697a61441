#!/usr/bin/env python3
"""Writes crates/tatter-files/tests/pngsuite/expected.csv: what two reference decoders read from the PngSuite files there.

The files are those of the crates.io package minipng 1.0.0, folder test/pngsuite, unchanged (its licence lies beside them).
Pinned: pypng 0.20220715.0, Pillow 12.0.0. Columns: file, width, height, layout, bits, CRC-32 of the samples (row by row, 16
bits with the high byte first, palettes and transparency expanded, 1, 2 and 4 bits scaled to 8). Where Pillow keeps every bit
(8 bits a sample), both decoders must agree, or nothing is written; one exception is named.
"""
import pathlib
import zlib

import png
from PIL import Image

FOLDER = pathlib.Path(__file__).parent.parent / "crates/tatter-files/tests/pngsuite"
# Pillow compares the transparent key of four-bit grey with samples it has already widened to eight bits.
PILLOW_DIFFERS = {"tbbn0g04.png"}
LAYOUTS = {1: "gray", 2: "gray-alpha", 3: "rgb", 4: "rgba"}


def texels(reader, rows, info):
    """Each texel as a tuple of samples, palette and transparency expanded, still at the file's depth."""
    planes, clear = info["planes"], reader.transparent
    # A truecolour file may suggest a palette too; only colour type 3 uses it.
    palette = reader.palette() if reader.color_type == 3 else None
    top = (1 << info["bitdepth"]) - 1
    for row in rows:
        row = list(row)
        for x in range(info["size"][0]):
            texel = tuple(row[x * planes : (x + 1) * planes])
            if palette:
                yield tuple(palette[texel[0]])
            elif clear is not None:
                wanted = tuple(clear) if isinstance(clear, (tuple, list)) else (clear,)
                yield texel + (0 if texel == wanted else top,)
            else:
                yield texel


def by_pypng(path):
    reader = png.Reader(filename=str(path))
    width, height, rows, info = reader.read()
    found = list(texels(reader, rows, info))
    bits = 8 if reader.color_type == 3 else info["bitdepth"]
    if bits < 8:
        scale = 255 // ((1 << bits) - 1)
        found, bits = [tuple(v * scale for v in t) for t in found], 8
    data = b"".join(v.to_bytes(bits // 8, "big") for t in found for v in t)
    return width, height, len(found[0]), bits, data


def by_pillow(path, components):
    mode = {1: "L", 2: "LA", 3: "RGB", 4: "RGBA"}[components]
    return Image.open(path).convert(mode).tobytes()


lines = ["file,width,height,layout,bits,crc32"]
for path in sorted(FOLDER.glob("*.png")):
    if path.name.startswith("x"):
        continue
    width, height, components, bits, data = by_pypng(path)
    if bits == 8 and path.name not in PILLOW_DIFFERS:
        assert data == by_pillow(path, components), f"the decoders disagree about {path.name}"
    lines.append(f"{path.name},{width},{height},{LAYOUTS[components]},{bits},{zlib.crc32(data):08x}")
(FOLDER / "expected.csv").write_text("\n".join(lines) + "\n")
print(len(lines) - 1, "files")
