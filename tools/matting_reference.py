#!/usr/bin/env python3
"""Alpha and foreground colours from a reference library, PyMatting 1.1.16 (see matting_reference.requirements.txt).

matting_reference.py fixtures FOLDER   writes the fixtures of crates/tatter-cloth/tests/fixtures/matting
matting_reference.py table FOLDER      judges all methods on pictures that somebody put there (NAME.ppm, NAME.trimap.pgm,
                                       NAME.truth.pgm, and optionally NAME.ours.pgm), and prints one table
matting_reference.py scoreboard FOLDER the same for the pictures that `cargo build --workspace --bin tatter-quality && target/debug/tatter-quality pictures FOLDER` has
                                       written there, as crates/tatter-quality/reference/alpha.tsv holds them

Pictures are netpbm: PPM and PGM, binary, 8 or 16 bits. The fixtures' scenes are drawn here; no photo is used. Values are
used as they stand (0..1), in no particular colour space: a matting Laplacian asks for none.
"""
import os
import sys
import time

import numpy as np
from pymatting import (cf_laplacian, estimate_alpha_cf, estimate_alpha_knn, estimate_alpha_lbdm, estimate_alpha_sm,
                       estimate_foreground_ml)

EPSILON, LAMBDA = 1e-7, 100.0


def write(path, image, bits):
    full = (1 << bits) - 1
    codes = np.rint(np.clip(image, 0, 1) * full).astype(">u2" if bits > 8 else np.uint8)
    kind = "P6" if image.ndim == 3 else "P5"
    with open(path, "wb") as file:
        file.write(f"{kind}\n{image.shape[1]} {image.shape[0]}\n{full}\n".encode())
        file.write(codes.tobytes())


def read(path):
    with open(path, "rb") as file:
        kind, size, full = file.readline().strip(), file.readline().split(), int(file.readline())
        codes = np.frombuffer(file.read(), ">u2" if full > 255 else np.uint8)
    shape = (int(size[1]), int(size[0])) + ((3,) if kind == b"P6" else ())
    return codes.reshape(shape) / full


def supersampled(width, height, inside, by=5):
    y, x = np.mgrid[0:height * by, 0:width * by]
    cover = inside((x + 0.5) / by, (y + 0.5) / by).astype(float)
    return cover.reshape(height, by, width, by).mean((1, 3))


def threads(x, y):
    """A piece with a soft diagonal end and three loose threads."""
    body = x + 0.35 * y < 24
    loose = [np.abs(y - 9 - 0.02 * (x - 20) - 3 * np.sin(x / 9)) < 0.7,
             np.abs(y - 22 - 0.15 * (x - 24)) < 1.0,
             np.abs(y - 31 + 0.3 * (x - 20)) < 0.45]
    return body | ((loose[0] | loose[1] | loose[2]) & (x < 43))


def blob(x, y):
    """A round piece with a hole, on two shades of backing."""
    r = np.hypot(x - 23, y - 18)
    return (r < 14.5 + 1.5 * np.sin(3 * np.arctan2(y - 18, x - 23))) & (r > 3.2)


def scenes():
    rng = np.random.default_rng(20)
    width, height = 48, 36
    y, x = np.mgrid[0:height, 0:width]
    for name, inside, soft in [("threads", threads, 0.6), ("blob", blob, 0.9)]:
        alpha = supersampled(width, height, inside)
        reach = np.arange(-4, 5)
        kernel = np.exp(-reach ** 2 / (2 * soft ** 2))
        kernel /= kernel.sum()
        for axis in (0, 1):
            alpha = np.apply_along_axis(lambda v: np.convolve(np.pad(v, 4, "edge"), kernel, "valid"), axis, alpha)
        alpha[alpha < 1e-3] = 0
        alpha[alpha > 1 - 1e-3] = 1
        weave = 1 + 0.12 * np.sin(x * 1.7) * np.sin(y * 1.9)
        front = np.array([0.55, 0.33, 0.14]) * weave[..., None] * (0.9 + 0.004 * x[..., None])
        back = np.array([0.74, 0.77, 0.80]) * (1 - 0.003 * y[..., None] - 0.002 * x[..., None])
        if name == "blob":
            back = np.where((x > 25)[..., None], back * [0.35, 0.5, 0.75], back)
        picture = alpha[..., None] * front + (1 - alpha[..., None]) * back
        picture = np.clip(picture + rng.normal(0, 0.004, picture.shape), 0, 1)
        # What the file holds is what everybody computes from.
        picture = np.rint(picture * 255) / 255
        trimap = np.full(alpha.shape, 0.5)
        known = np.ones(alpha.shape, bool)
        reach = 2
        padded = np.pad(alpha, reach, "edge")
        for dy in range(2 * reach + 1):
            for dx in range(2 * reach + 1):
                known &= padded[dy:dy + height, dx:dx + width] == alpha
        trimap[known] = alpha[known]
        yield name, picture, trimap, alpha


def fixtures(folder):
    os.makedirs(folder, exist_ok=True)
    for name, picture, trimap, truth in scenes():
        alpha = estimate_alpha_cf(picture, trimap, laplacian_kwargs={"epsilon": EPSILON}, cg_kwargs={"rtol": 1e-9})
        front, back = estimate_foreground_ml(picture, truth, return_background=True)
        path = os.path.join(folder, name)
        write(path + ".ppm", picture, 8)
        write(path + ".trimap.pgm", np.where(trimap == 0.5, 128 / 255, trimap), 8)
        write(path + ".alpha.pgm", alpha, 16)
        write(path + ".truth.pgm", truth, 16)
        write(path + ".front.ppm", front, 16)
        write(path + ".back.ppm", back, 16)
        print(name, "unknown", int((trimap == 0.5).sum()), "closed form SAD", np.abs(alpha - truth).sum())
    # The middle row of one Laplacian, 25 entries around the pixel.
    _, picture, _, _ = next(scenes())
    part = picture[6:13, 18:25]
    row = cf_laplacian(part, EPSILON, 1).tocsr()[24].toarray().reshape(7, 7)[1:6, 1:6]
    with open(os.path.join(folder, "laplacian_row.txt"), "w") as file:
        file.write("# cf_laplacian of columns 18..25, rows 6..13 of threads.ppm, epsilon 1e-7: row of the middle pixel\n")
        for line in row:
            file.write(" ".join(f"{v:.9e}" for v in line) + "\n")


def srgb(light):
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


def gradient_error(a, b):
    """Squared difference of gradient magnitudes, Gaussian derivatives of sigma 1.4 (Rhemann et al. 2009)."""
    reach = np.arange(-5, 6)
    bell = np.exp(-reach ** 2 / (2 * 1.4 ** 2))
    bell /= bell.sum()
    slope = -reach / 1.4 ** 2 * bell

    def along(image, kernel, axis):
        return np.apply_along_axis(lambda v: np.convolve(np.pad(v, 5, "edge"), kernel, "valid"), axis, image)

    def magnitude(image):
        return np.hypot(along(along(image, slope, 1), bell, 0), along(along(image, bell, 1), slope, 0))

    return (magnitude(a) - magnitude(b)) ** 2


METHODS = [("closed form", estimate_alpha_cf), ("KNN", estimate_alpha_knn), ("learning based", estimate_alpha_lbdm),
           ("shared sampling", estimate_alpha_sm)]


def judged(folder):
    """Name, method, alpha error and seconds of every method on every picture."""
    for name in sorted(f[:-len(".truth.pgm")] for f in os.listdir(folder) if f.endswith(".truth.pgm")):
        path = os.path.join(folder, name)
        picture, trimap, truth = read(path + ".ppm"), read(path + ".trimap.pgm"), read(path + ".truth.pgm")
        trimap[(trimap > 0) & (trimap < 1)] = 0.5
        open_ = trimap == 0.5

        def errors(alpha):
            off = np.abs(alpha - truth) * open_
            return (off.sum() / 1000, (off ** 2).sum() / open_.sum(), (gradient_error(alpha, truth) * open_).sum() / 1000)

        for method, estimate in METHODS:
            for space, values in [("sRGB", srgb(picture)), ("linear", picture)]:
                start = time.perf_counter()
                alpha = estimate(values, trimap)
                yield name, int(open_.sum()), f"{method} ({space})", errors(alpha), f"{time.perf_counter() - start:.2f}"
        if os.path.exists(path + ".ours.pgm"):
            seconds = open(path + ".seconds.txt").read().strip() if os.path.exists(path + ".seconds.txt") else ""
            yield name, int(open_.sum()), "ours (linear)", errors(read(path + ".ours.pgm")), seconds


def table(folder):
    print("| picture | unknown | method | SAD, thousands | MSE | gradient, thousands | seconds |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name, unknown, method, (sad, mse, gradient), seconds in judged(folder):
        print(f"| {name} | {unknown} | {method} | {sad:.3f} | {mse:.5f} | {gradient:.4f} | {seconds} |", flush=True)


def scoreboard(folder):
    print("# picture, sum, method, SAD in thousands, MSE, gradient in thousands, seconds; PyMatting 1.1.16,")
    print("# by tools/matting_reference.py scoreboard")
    for name, _, method, (sad, mse, gradient), seconds in judged(folder):
        if not method.startswith("ours"):
            with open(os.path.join(folder, name + ".sum.txt")) as file:
                total = file.read().strip()
            print(f"{name}\t{total}\t{method}\t{sad:.4f}\t{mse:.6f}\t{gradient:.4f}\t{seconds}", flush=True)
        else:
            print(name, method, f"{sad:.4f} {mse:.6f} {gradient:.4f}", file=sys.stderr, flush=True)


def main():
    tasks = {"fixtures": fixtures, "table": table, "scoreboard": scoreboard}
    if len(sys.argv) != 3 or sys.argv[1] not in tasks:
        sys.exit(__doc__)
    tasks[sys.argv[1]](sys.argv[2])


main()
