"""A picture of 8 bits a channel with at most 256 colours, by median cut (Heckbert, "Color image quantization for frame buffer display", 1982): for documents.

Usage: small_png.py FROM.png TO.png; FROM is RGB of 8 bits, not interlaced.
"""
import struct
import sys
import zlib
from collections import Counter


def read(path):
    data = open(path, "rb").read()
    at, packed, head = 8, b"", None
    while at < len(data):
        length, kind = struct.unpack(">I4s", data[at:at + 8])
        body = data[at + 8:at + 8 + length]
        if kind == b"IHDR":
            head = struct.unpack(">IIBBBBB", body)
        elif kind == b"IDAT":
            packed += body
        at += 12 + length
    width, height, bits, color, _, _, interlaced = head
    if (bits, color, interlaced) != (8, 2, 0):
        raise SystemExit(f"{path} is not RGB of 8 bits")
    raw, row, before, rows = zlib.decompress(packed), 3 * width, bytearray(3 * width), []
    for y in range(height):
        kind, line = raw[y * (row + 1)], bytearray(raw[y * (row + 1) + 1:(y + 1) * (row + 1)])
        for x in range(row):
            left, up, corner = (line[x - 3], before[x], before[x - 3]) if x >= 3 else (0, before[x], 0)
            if kind == 1:
                line[x] = (line[x] + left) & 255
            elif kind == 2:
                line[x] = (line[x] + up) & 255
            elif kind == 3:
                line[x] = (line[x] + (left + up) // 2) & 255
            elif kind == 4:
                p = left + up - corner
                far = abs(p - left), abs(p - up), abs(p - corner)
                near = left if far[0] <= far[1] and far[0] <= far[2] else up if far[1] <= far[2] else corner
                line[x] = (line[x] + near) & 255
        rows.append(line)
        before = line
    return width, height, rows


def palette(counts):
    """Boxes of colours, the one that errs most halved each time; of each its mean."""
    def spread(box):
        sums = [sum(n * c[i] for c, n in box) for i in range(3)]
        total = sum(n for _, n in box)
        errs = [sum(n * (c[i] - sums[i] / total) ** 2 for c, n in box) for i in range(3)]
        return max(errs), errs.index(max(errs)), box
    boxes = [spread(list(counts.items()))]
    while len(boxes) < 256:
        boxes.sort(key=lambda box: box[0])
        err, axis, box = boxes.pop()
        if err == 0:
            boxes.append((err, axis, box))
            break
        box.sort(key=lambda one: one[0][axis])
        half, sum_ = sum(n for _, n in box) / 2, 0
        for cut, (_, n) in enumerate(box, 1):
            sum_ += n
            if sum_ >= half:
                break
        cut = min(max(cut, 1), len(box) - 1)
        boxes += [spread(box[:cut]), spread(box[cut:])]
    colors, of = [], {}
    for number, (_, _, box) in enumerate(boxes):
        total = sum(n for _, n in box)
        colors.append(tuple(round(sum(n * c[i] for c, n in box) / total) for i in range(3)))
        of.update((c, number) for c, _ in box)
    return colors, of


def main(source, target):
    width, height, rows = read(source)
    pixels = [[bytes(line[x:x + 3]) for x in range(0, 3 * width, 3)] for line in rows]
    counts = Counter(tuple(p) for line in pixels for p in line)
    colors, of = palette(counts)
    of = {bytes(color): number for color, number in of.items()}
    raw = b"".join(b"\0" + bytes(of[p] for p in line) for line in pixels)
    chunk = lambda kind, body: struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
    with open(target, "wb") as out:
        out.write(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)))
        out.write(chunk(b"PLTE", bytes(v for color in colors for v in color)) + chunk(b"IDAT", zlib.compress(raw, 9)) + chunk(b"IEND", b""))


main(*sys.argv[1:3])
