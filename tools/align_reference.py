#!/usr/bin/env python3
"""Where a reference library lays one picture on another: OpenCV's findTransformECC (Evangelidis, Psarakis 2008), see
align_reference.requirements.txt.

align_reference.py FILE.csv   writes crates/tatter-capture/tests/fixtures/align/ecc.csv

The picture is a sum of waves, so that a moved picture is computed and not resampled; crates/tatter-capture/tests/align_reference.rs
computes the same ones. Places are counted from the first pixel's centre at (0.5, 0.5).
"""
import sys

import cv2
import numpy as np

SIDE = 256


def waves():
    """Frequency in cycles a pixel, phase and height of 40 waves of 6 to 50 pixels, by a linear congruential generator."""
    state, found = 12345, []

    def next_unit():
        nonlocal state
        state = (1103515245 * state + 12345) % 2**31
        return state / 2**31

    for _ in range(40):
        length, turn, phase = 6 + 44 * next_unit() ** 2, 2 * np.pi * next_unit(), 2 * np.pi * next_unit()
        found.append((np.cos(turn) / length, np.sin(turn) / length, phase))
    return found


def picture(back):
    """The waves seen by a camera whose pixel (x, y) looks at the place back @ (x, y, 1)."""
    y, x = np.mgrid[0:SIDE, 0:SIDE] + 0.5
    w = back[2][0] * x + back[2][1] * y + back[2][2]
    u = (back[0][0] * x + back[0][1] * y + back[0][2]) / w
    v = (back[1][0] * x + back[1][1] * y + back[1][2]) / w
    total = sum(np.sin(2 * np.pi * (fx * u + fy * v) + phase) for fx, fy, phase in waves())
    return (0.35 * np.exp(0.09 * total)).astype(np.float32)


def turned(degrees, x, y):
    s, c = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
    m = SIDE / 2
    return np.array([[c, -s, m - c * m + s * m + x], [s, c, m - s * m - c * m + y], [0, 0, 1]])


NUDGES = [
    turned(0, 0.37, -0.81),
    turned(0, 4.25, 2.5),
    turned(0.6, -2.2, 5.1),
    turned(-1.5, 6.3, -3.4),
    np.array([[1.006, -0.009, 3.0], [0.004, 0.995, -2.0], [1.2e-5, -2e-5, 1.0]]),
]


def main(path):
    still = picture(np.eye(3))
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    with open(path, "w", encoding="utf-8") as file:
        file.write("# OpenCV %s findTransformECC, homography, 200 rounds, 1e-9, on log light; by tools/align_reference.py\n" % cv2.__version__)
        file.write("# a wave picture of 256 pixels (see the script); truth and the library's map, row major, first centre at (0.5, 0.5)\n")
        file.write(",".join([f"truth{i}" for i in range(9)] + [f"ecc{i}" for i in range(9)]) + "\n")
        for truth in NUDGES:
            moved = picture(np.linalg.inv(truth))
            criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-9)
            start = np.eye(3, dtype=np.float32)
            # Started from the truth's own middle, rounded to pixels: a first guess is not what is compared.
            m = SIDE / 2
            to = truth @ [m, m, 1]
            start[:2, 2] = np.rint(to[:2] / to[2] - m)
            found = cv2.findTransformECC(np.log(still), np.log(moved), start, cv2.MOTION_HOMOGRAPHY, criteria)[1]
            ours = half @ found.astype(np.float64) @ np.linalg.inv(half)
            ours /= ours[2][2]
            file.write(",".join(f"{v:.9g}" for v in np.concatenate([truth.ravel(), ours.ravel()])) + "\n")


main(sys.argv[1])
