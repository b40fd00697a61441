#!/usr/bin/env python3
"""The peer of `cargo bench -p tatter --bench job`: the same placements with reference libraries, files to files.

Pinned by requirements.txt. Usage: reference.py FOLDER, in which the bench made maps/, patch.patch/ and placements.json.
Prints lines that the bench reads: seconds, processor, peak_mib, stage NAME, then remarks.
"""
import json
import os
import resource
import sys
import time

import cv2
import numpy as np

ROLES = ["base_color", "normal", "height", "roughness", "opacity"]


def decode_srgb(code):
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def encode_srgb(light):
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055)


def as_float(picture):
    return picture.astype(np.float32) / (65535.0 if picture.dtype == np.uint16 else 255.0)


def as_stored(values, like):
    full = 65535.0 if like == np.uint16 else 255.0
    return np.clip(np.rint(values * full), 0, full).astype(like)


def main(folder):
    seconds = {}
    start = time.perf_counter()
    maps = {r: cv2.imread(os.path.join(folder, "maps", f"canvas_{r}.png"), cv2.IMREAD_UNCHANGED) for r in ROLES}
    patch = {
        r: as_float(cv2.imread(os.path.join(folder, "patch.patch", f"{r}.png"), cv2.IMREAD_UNCHANGED)) for r in ROLES + ["cover"]
    }
    patch["base_color"] = decode_srgb(patch["base_color"]).astype(np.float32)
    seconds["decode"] = time.perf_counter() - start

    start = time.perf_counter()
    side = patch["cover"].shape[0]
    for p in json.load(open(os.path.join(folder, "placements.json"))):
        size, (cx, cy) = p["size_px"], p["centre_px"]
        turn = np.radians(p["turn_deg"])
        # One shrink by area first, as the library's own advice against aliasing goes, then one affine warp.
        small = {r: cv2.resize(v, (int(size), int(size)), interpolation=cv2.INTER_AREA) if size < side else v for r, v in patch.items()}
        s = small["cover"].shape[0]
        k = size / s
        cos, sin = np.cos(turn) * k, np.sin(turn) * k
        radius = int(np.ceil(size * 0.7072)) + 1
        x0, y0 = int(cx) - radius, int(cy) - radius
        width = 2 * radius
        # The library counts texels from their centres.
        middle, tx, ty = (s - 1) / 2, cx - 0.5 - x0, cy - 0.5 - y0
        move = np.float32([[cos, sin, tx - (cos + sin) * middle], [-sin, cos, ty - (cos - sin) * middle]])
        laid = {r: cv2.warpAffine(v, move, (width, width), flags=cv2.INTER_CUBIC) for r, v in small.items()}
        h, w = maps["height"].shape[:2]
        xa, ya, xb, yb = max(0, x0), max(0, y0), min(w, x0 + width), min(h, y0 + width)
        part = np.s_[ya:yb, xa:xb]
        inner = np.s_[ya - y0 : yb - y0, xa - x0 : xb - x0]
        cover = np.clip(laid["cover"][inner], 0, 1)
        for r in ROLES:
            below = as_float(maps[r][part])
            above = laid[r][inner]
            weight = cover[..., None] if below.ndim == 3 else cover
            if r == "base_color":
                out = encode_srgb(decode_srgb(below) * (1 - weight) + above * weight)
            elif r == "normal":
                # Channels lie blue, green, red: z, y up, x. Slopes turn with the patch.
                z, y, x = np.moveaxis(2 * above - 1, 2, 0)
                c0, s0 = np.cos(turn), np.sin(turn)
                turned = np.stack([z, x * s0 + y * c0, x * c0 - y * s0], axis=2)
                n = (2 * below - 1) * (1 - weight) + turned * weight
                out = 0.5 * n / np.linalg.norm(n, axis=2, keepdims=True) + 0.5
            elif r == "opacity":
                out = below * (1 - weight + weight * above)
            else:
                out = below * (1 - weight) + above * weight
            stored = as_stored(out, maps[r].dtype)
            maps[r][part] = np.where(weight > 0, stored, maps[r][part])
    seconds["build"] = time.perf_counter() - start

    start = time.perf_counter()
    os.makedirs(os.path.join(folder, "reference"), exist_ok=True)
    for r in ROLES:
        cv2.imwrite(os.path.join(folder, "reference", f"canvas_{r}.png"), maps[r], [cv2.IMWRITE_PNG_COMPRESSION, 1])
    seconds["encode"] = time.perf_counter() - start
    usage = resource.getrusage(resource.RUSAGE_SELF)
    print("seconds", sum(seconds.values()))
    print("processor", usage.ru_utime + usage.ru_stime)
    print("peak_mib", usage.ru_maxrss / 1024)
    for name, value in seconds.items():
        print("stage", name, value)
    print(f"Reference: OpenCV {cv2.__version__} on {cv2.getNumThreads()} threads, NumPy {np.__version__}.")
    compare(folder, maps)


def compare(folder, maps):
    """How far the two results lie apart, where either changed anything, in codes of 8 bits; of placements that follow no cloth."""
    for r in ROLES:
        built = cv2.imread(os.path.join(folder, "plain.tatter", "built", f"canvas_{r}.png"), cv2.IMREAD_UNCHANGED)
        if built is None:
            continue
        clean = cv2.imread(os.path.join(folder, "maps", f"canvas_{r}.png"), cv2.IMREAD_UNCHANGED)
        touched = (built != clean) | (maps[r] != clean)
        apart = np.abs(built.astype(np.float32) - maps[r]) / (257 if built.dtype == np.uint16 else 1)
        apart = apart[touched]
        print(
            f"- {r}: {touched.mean():.3f} of the samples touched; Tatter and reference differ by {apart.mean():.2f} codes in the mean,"
            f" {np.quantile(apart, 0.99):.0f} at 99 %"
        )


main(sys.argv[1])
