#!/usr/bin/env python3
"""The peer of `cargo run --example bench`: the same placements with a reference array library, files to files.

Pinned: as requirements.txt says. Usage: reference.py FOLDER, where the bench
has written maps/, patch.patch/ and placements.json. Prints one JSON object.
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
        move = np.float32([[cos, sin, cx - x0 - (cos + sin) * s / 2], [-sin, cos, cy - y0 - (cos - sin) * s / 2]])
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
                n = (2 * below - 1) * (1 - weight) + (2 * above - 1) * weight
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
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "total": sum(seconds.values()), "peak_mib": peak, "library": f"OpenCV {cv2.__version__}"}))


main(sys.argv[1])
