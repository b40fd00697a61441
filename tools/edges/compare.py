#!/usr/bin/env python3
"""How a patch ends on its garment, three ways: softly with its cover, along the tool's seam, and by multi-band blending
(Burt, Adelson, "A Multiresolution Spline with Application to Image Mosaics", 1983, as OpenCV has it).

    python3 compare.py TATTER FOLDER

TATTER is the built command line; FOLDER gets the pieces, a picture of each case and `table.md`. Needs what
`../bench/requirements.txt` names. Everything is woven by the tool, so patch and garment are pieces of one cloth.
"""
import re
import shutil
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np

SIDE, WIDTH_MM = 768, 60.0
PIXEL_MM = WIDTH_MM / SIDE
# Name, cloth, damage.
CASES = [
    ("canvas, moth hole", "canvas", "moth-hole:length=9"),
    ("linen, rip", "linen", "rip:length=16,width=3"),
    ("tweed, moth hole", "tweed", "moth-hole:length=10"),
    ("duck, burn", "duck", "burn:length=8"),
]
BANDS = 4
FINE = 64


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
    # It reckons in whole numbers: of codes as they are it would wash out all of both pictures by some.
    blender.feed(below.astype(np.int16) * FINE, 255 - mask, (0, 0))
    blender.feed(above.astype(np.int16) * FINE, mask, (0, 0))
    return np.clip(np.round(blender.blend(None, None)[0] / FINE), 0, 255).astype(np.uint8)


def high(picture, pitch):
    """Lightness without what is slower than threads."""
    light = cv2.cvtColor(picture, cv2.COLOR_BGR2LAB)[..., 0].astype(np.float32)
    return light - cv2.GaussianBlur(light, (0, 0), 1.5 * pitch)


def contrast(picture, pitch):
    """Of threads, in a window of about one."""
    return np.sqrt(cv2.GaussianBlur(high(picture, pitch) ** 2, (0, 0), 0.7 * pitch))


def goes_on(picture, pitches):
    """How alike each place is to that two threads on, both ways: what a thread that is cut or mixed is no more."""
    pitch, sum_of_both = sum(pitches) / 2, 0.0
    own = high(picture, pitch)
    blurred = lambda values: cv2.GaussianBlur(values, (0, 0), pitch)
    for step in [(pitches[0], 0.0), (0.0, pitches[1])]:
        moved = [
            cv2.warpAffine(own, np.float32([[1, 0, sign * step[0]], [0, 1, sign * step[1]]]), (SIDE, SIDE), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_WRAP)
            for sign in (-1, 1)
        ]
        power = blurred(moved[0] ** 2) * blurred(moved[1] ** 2)
        sum_of_both = sum_of_both + 0.5 * blurred(moved[0] * moved[1]) / np.sqrt(power + 1e-6)
    return sum_of_both


def case(tatter, folder, name, cloth, damage):
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

    told = (patch / "patch.toml").read_text()
    pitches = [10.0 / float(re.search(rf"{what}_per_cm = ([0-9.]+)", told)[1]) / PIXEL_MM for what in ("ends", "picks")]
    pitch = sum(pitches) / 2
    own = contrast(whole, pitch) / np.median(contrast(below, pitch))
    # Where both pieces are sound cloth and the patch has a say.
    sound = (cover > 0.02) & (own > 0.8) & (own < 1.3)
    away = lambda picture, other: np.abs(picture.astype(int) - other).max(axis=2)
    apart = sound & (away(whole, below) > 12)
    area = PIXEL_MM * PIXEL_MM
    row = [name, f"{apart.sum() * area:.0f}", f"{goes_on(below, pitches)[sound].mean():.2f}"]
    for picture in ways.values():
        neither = apart & (np.minimum(away(picture, below), away(picture, whole)) > 4)
        row += [f"{neither.sum() * area:.1f}", f"{goes_on(picture, pitches)[sound].mean():.2f}"]
    part = slice(SIDE // 2 - 190, SIDE // 2 + 190)
    strip = np.hstack([p[part, part] for p in [below, *ways.values()]])
    cv2.imwrite(str(folder.parent / f"{folder.name}.png"), strip)
    return row


def main():
    tatter, folder = str(Path(sys.argv[1]).resolve()), Path(sys.argv[2])
    told = [f"{way}: {what}" for way in ["soft", "seam", "multi-band"] for what in ["neither, mm²", "threads go on"]]
    head = ["case", "cloth looked at, mm²", "garment: threads go on", *told]
    rows = [case(tatter, folder / name.replace(", ", "-").replace(" ", "-"), name, *told) for name, *told in CASES]
    lines = ["| " + " | ".join(row) + " |" for row in [head, ["---"] + ["---:"] * (len(head) - 1), *rows]]
    (folder / "table.md").write_text("\n".join(lines) + "\n")
    print("\n".join(lines))


main()
