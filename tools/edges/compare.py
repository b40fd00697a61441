#!/usr/bin/env python3
"""How a patch ends on its garment, three ways: softly with its cover, along the tool's seam, and by multi-band blending
(Burt, Adelson, "A Multiresolution Spline with Application to Image Mosaics", 1983, as OpenCV has it).

    python3 compare.py TATTER FOLDER

TATTER is the built command line; FOLDER gets the pieces, a picture of each case and `table.md`. Needs what
`../bench/requirements.txt` names. Everything is woven by the tool, so patch and garment are pieces of one cloth.
"""
import shutil
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np

SIDE, WIDTH_MM = 768, 60.0
PIXEL_MM = WIDTH_MM / SIDE
# Name, cloth, threads per cm (the mean of both families, for how wide a window is), damage.
CASES = [
    ("canvas, moth hole", "canvas", 15.0, "moth-hole:length=9"),
    ("linen, rip", "linen", 12.0, "rip:length=16,width=3"),
    ("tweed, moth hole", "tweed", 8.0, "moth-hole:length=10"),
    ("duck, burn", "duck", 11.0, "burn:length=8"),
]
BANDS = 4


def run(tatter, *arguments):
    done = subprocess.run([tatter, *map(str, arguments), "--quiet"], capture_output=True, text=True)
    if done.returncode:
        sys.exit(f"{arguments}: {done.stderr}")


def read(path):
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if picture is None:
        sys.exit(f"{path} can't be read")
    return picture


def linear(codes):
    v = codes.astype(np.float32) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def laid(tatter, folder, name, patch, *how):
    """The base colour of the garment with a patch in its middle."""
    job = folder / f"{name}.tatter.toml"
    run(tatter, "garment", folder / "garment", "-o", job, "--mm-per-uv", WIDTH_MM)
    run(tatter, "place", job, "--patch", patch, "--at", "0.5,0.5", *how)
    run(tatter, "build", job, "-o", folder / name)
    return read(folder / name / "garment_base_color.png")


def changed(patch, other, channel, picture):
    shutil.copytree(patch, other)
    cv2.imwrite(str(other / f"{channel}.png"), picture)
    return other


def multi_band(below, above, mask):
    blender = cv2.detail_MultiBandBlender(0, BANDS)
    blender.prepare((0, 0, SIDE, SIDE))
    blender.feed(below.astype(np.int16), 255 - mask, (0, 0))
    blender.feed(above.astype(np.int16), mask, (0, 0))
    return np.clip(blender.blend(None, None)[0], 0, 255).astype(np.uint8)


def contrast(picture, pitch):
    """Of threads: deviation of lightness about its mean over two threads, in a window of one."""
    light = cv2.cvtColor(picture, cv2.COLOR_BGR2LAB)[..., 0].astype(np.float32)
    high = light - cv2.GaussianBlur(light, (0, 0), pitch)
    return np.sqrt(cv2.GaussianBlur(high * high, (0, 0), 0.7 * pitch))


def case(tatter, folder, name, cloth, per_cm, damage):
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    run(tatter, "weave", cloth, "--width-mm", WIDTH_MM, "--texels", SIDE, "--seed", 5, "-o", folder / "garment")
    for path in (folder / "garment").iterdir():
        if not path.name.endswith("base_color.png"):
            path.unlink()
    patch = folder / "own.patch"
    run(tatter, "weave", cloth, "--width-mm", 36, "--texels", 512, "--seed", 2, "--damage", damage, "-o", patch)
    below = read(folder / "garment/garment_base_color.png")
    white = np.full((512, 512, 3), 255, np.uint8)
    ways = {
        "soft": laid(tatter, folder, "soft", patch, "--edge", "soft"),
        "seam": laid(tatter, folder, "seam", patch, "--edge", "seam"),
    }
    # The patch over its whole canvas, matched as the others are, and its cover as it lies on the garment.
    whole = laid(tatter, folder, "whole", changed(patch, folder / "whole.patch", "cover", white[..., 0]), "--edge", "soft")
    pale = changed(patch, folder / "white.patch", "base_color", white)
    share = laid(tatter, folder, "cover", pale, "--edge", "soft", "--match", "none")
    cover = np.clip(np.median((linear(share) - linear(below)) / (1.0 - linear(below)), axis=2), 0.0, 1.0)
    ways["multi-band"] = multi_band(below, whole, np.where(cover >= 0.5, 255, 0).astype(np.uint8))

    pitch = 10.0 / per_cm / PIXEL_MM
    usual = np.median(contrast(below, pitch))
    own = contrast(whole, pitch) / usual
    # Where both pieces are sound cloth, a lack of contrast comes of mixing them.
    sound = (cover > 0.02) & (own > 0.8) & (own < 1.3) & (contrast(below, pitch) / usual > 0.8)
    outside = cv2.dilate((cover > 0.0).astype(np.uint8), np.ones((3, 3))) == 0
    area = PIXEL_MM * PIXEL_MM
    row = [name, f"{sound.sum() * area:.0f}"]
    for picture in ways.values():
        pale = sound & (contrast(picture, pitch) / usual < 0.7)
        spread = np.abs(picture.astype(int) - below).max(axis=2) > 2
        row += [f"{pale.sum() * area:.1f}", f"{(spread & outside).sum() * area:.1f}"]
    part = slice(SIDE // 2 - 190, SIDE // 2 + 190)
    strip = np.hstack([p[part, part] for p in [below, *ways.values()]])
    cv2.imwrite(str(folder.parent / f"{folder.name}.png"), strip)
    return row


def main():
    tatter, folder = str(Path(sys.argv[1]).resolve()), Path(sys.argv[2])
    head = ["case", "sound cloth mm²"] + [f"{way}: {what}" for way in ["soft", "seam", "multi-band"] for what in ["washed out mm²", "spread mm²"]]
    rows = [case(tatter, folder / name.replace(", ", "-").replace(" ", "-"), name, *told) for name, *told in CASES]
    lines = ["| " + " | ".join(row) + " |" for row in [head, ["---"] + ["---:"] * (len(head) - 1), *rows]]
    (folder / "table.md").write_text("\n".join(lines) + "\n")
    print("\n".join(lines))


main()
