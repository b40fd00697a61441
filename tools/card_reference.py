#!/usr/bin/env python3
"""Where a reference library finds the corners of a card: OpenCV, see align_reference.requirements.txt.

card_reference.py FILE.csv   writes crates/tatter-capture/tests/fixtures/plane/corners.csv

The picture is computed: a card of 85.60 x 53.98 mm with corners of 3.18 mm on cloth of two waves, seen through known maps, 4 x 4 samples
a pixel; crates/tatter-capture/tests/plane_reference.rs computes the same ones. Two ways of the library: findContours, approxPolyDP and
cornerSubPix, as its tutorials do; and fitLine along the middle of each side of that contour, its lines made to meet.
Places are counted from the first pixel's centre at (0.5, 0.5).
"""
import sys

import cv2
import numpy as np

WIDTH, HEIGHT, CARD, CORNER, TAPS = 480, 360, (85.60, 53.98), 3.18, 4

# Photo place of a place in mm from the card's upper left corner.
MAPS = [
    np.array([[4.0, 0.0, 60.0], [0.0, 4.0, 70.0], [0.0, 0.0, 1.0]]),
    np.array([[3.6, -0.9, 90.0], [0.9, 3.6, 50.0], [0.0, 0.0, 1.0]]),
    np.array([[3.462297, -0.219364, 99.996792], [0.850595, 3.956524, 62.233357], [-0.000666, 0.002607, 1.0]]),
    np.array([[1.71869, 0.675427, 120.38121], [-1.866169, 1.664539, 198.764069], [-0.001514, -0.002516, 1.0]]),
]


def picture(photo_from_mm):
    mm_from_photo = np.linalg.inv(photo_from_mm)
    light = np.zeros((HEIGHT, WIDTH))
    for j in range(TAPS):
        for i in range(TAPS):
            y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
            x, y = x + (i + 0.5) / TAPS, y + (j + 0.5) / TAPS
            u, v, w = (row[0] * x + row[1] * y + row[2] for row in mm_from_photo)
            u, v = u / w, v / w
            qx = np.abs(u - CARD[0] / 2) - CARD[0] / 2 + CORNER
            qy = np.abs(v - CARD[1] / 2) - CARD[1] / 2 + CORNER
            out = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0) - CORNER
            cloth = 0.22 * (1 + 0.25 * np.sin(2 * np.pi * u / 1.1) + 0.25 * np.sin(2 * np.pi * v / 0.9))
            light += np.where(out < 0, 0.7, cloth) / TAPS**2
    return light


def four(contour):
    """The contour's hull as four corners, by raising the tolerance until four are left."""
    hull = cv2.convexHull(contour)
    for percent in np.arange(0.5, 10, 0.25):
        poly = cv2.approxPolyDP(hull, percent / 100 * cv2.arcLength(hull, True), True)
        if len(poly) == 4:
            return poly.reshape(4, 2).astype(np.float32)
    raise SystemExit("no four corners")


def by_lines(contour, corners):
    points, lines = contour.reshape(-1, 2).astype(float), []
    for k in range(4):
        a, b = corners[k], corners[(k + 1) % 4]
        d = (b - a) / np.linalg.norm(b - a)
        along, across = (points - a) @ d, (points - a) @ np.array([-d[1], d[0]])
        length = np.linalg.norm(b - a)
        side = points[(np.abs(across) < 4) & (along > 0.15 * length) & (along < 0.85 * length)]
        vx, vy, x0, y0 = cv2.fitLine(side.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01).ravel()
        # A contour runs through the centres of the outermost pixels: half a pixel is added.
        outward = np.array([d[1], -d[0]]) * (0.5 if cv2.contourArea(corners.astype(np.float32), True) > 0 else -0.5)
        x0, y0 = np.array([x0, y0]) + outward
        lines.append(np.cross([x0, y0, 1], [x0 + vx, y0 + vy, 1]))
    met = [np.cross(lines[k - 1], lines[k]) for k in range(4)]
    return np.array([m[:2] / m[2] for m in met])


def main(path):
    with open(path, "w", encoding="utf-8") as file:
        file.write(f"# OpenCV {cv2.__version__}, by tools/card_reference.py: furthest corner from the truth, pixels\n")
        file.write("map,sub_pixel,fit_line\n")
        for number, photo_from_mm in enumerate(MAPS):
            light = picture(photo_from_mm)
            codes = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
            gray = np.round(255 * codes).astype(np.uint8)
            level, mask = cv2.threshold(gray, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
            contours = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
            contour = max(contours, key=cv2.contourArea)
            rough = four(contour)
            lines = rough
            for _ in range(4):
                lines = by_lines(contour, lines)
            criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-4)
            exact = cv2.cornerSubPix(gray, rough.copy().reshape(-1, 1, 2), (7, 7), (-1, -1), criteria).reshape(4, 2)
            truth = []
            for place in [(0, 0), (CARD[0], 0), CARD, (0, CARD[1])]:
                to = photo_from_mm @ [*place, 1]
                truth.append(to[:2] / to[2])
            worst = []
            for found in (exact + 0.5, lines + 0.5):
                worst.append(max(min(np.linalg.norm(f - t) for f in found) for t in truth))
            file.write(f"{number},{worst[0]:.4f},{worst[1]:.4f}\n")


main(sys.argv[1])
