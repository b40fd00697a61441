#!/usr/bin/env python3
"""Normals of a height field by a reference array library: NumPy's gradient, see normals_reference.requirements.txt.

normals_reference.py FILE.csv   writes crates/tatter-core/tests/fixtures/normals.csv

Heights are uneven on purpose (a bump, a step, a ramp, noise), on texels of 0.08 mm. `gradient` takes central differences inside and
one-sided ones at the edges. Rows run downwards and normals count upwards, so the slope along a column changes its sign.
"""
import sys

import numpy as np

TEXEL_MM = 0.08
ROWS, COLUMNS = 11, 17


def heights():
    y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float64)
    bump = 0.4 * np.exp(-((x - 6.0) ** 2 + (y - 4.0) ** 2) / 9.0)
    noise = np.random.default_rng(7).normal(0.0, 0.02, x.shape)
    # As the program holds them.
    return (bump + np.where(x > 11, 0.15, 0.0) - 0.03 * y + noise).astype(np.float32).astype(np.float64)


def main():
    height = heights()
    down, right = np.gradient(height, TEXEL_MM, edge_order=1)
    normal = np.stack([-right, down, np.ones_like(height)], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    with open(sys.argv[1], "w", encoding="ascii") as out:
        out.write("x,y,height_mm,nx,ny,nz\n")
        for y in range(ROWS):
            for x in range(COLUMNS):
                out.write(f"{x},{y},{height[y, x]:.9g}," + ",".join(f"{v:.8f}" for v in normal[y, x]) + "\n")


main()
