"""Time OpenCV (opencv-python-headless 4.12) on the maps that `cargo bench --workspace --bench png -- SIDE FOLDER` left.

Usage: bench_png.py FOLDER. Best of three, compression level 1 and OpenCV's default."""
import glob
import os
import sys
import time

import cv2


def best(work):
    times = []
    for _ in range(3):
        start = time.perf_counter()
        value = work()
        times.append(time.perf_counter() - start)
    return min(times), value


total = [0.0, 0.0, 0]
for path in sorted(glob.glob(os.path.join(sys.argv[1], "*.png"))):
    decode, image = best(lambda: cv2.imread(path, cv2.IMREAD_UNCHANGED))
    encode, (_, packed) = best(lambda: cv2.imencode(".png", image, [cv2.IMWRITE_PNG_COMPRESSION, 1]))
    default, (_, small) = best(lambda: cv2.imencode(".png", image))
    raw = image.nbytes
    print(
        f"{os.path.basename(path):16} level 1 {raw / encode / 1e6:5.0f} MB/s ({len(packed) / raw:.3f})"
        f"  default {raw / default / 1e6:5.0f} ({len(small) / raw:.3f})  decode {raw / decode / 1e6:5.0f}"
    )
    total = [total[0] + encode, total[1] + decode, total[2] + len(packed)]
print(f"the set, one thread: encode level 1 {total[0]:.3f} s, decode {total[1]:.3f} s, {total[2]} bytes")
