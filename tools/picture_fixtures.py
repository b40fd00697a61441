"""Make the JPEG fixtures of crates/tatter-files/tests/pictures_data with Pillow 13.0 (libjpeg-turbo), and what it reads from them.

Usage: picture_fixtures.py FOLDER. Each NAME.jpg has NAME.png beside it: the texels Pillow decodes; for inks, the plain
conversion (1 - ink) (1 - black) of the CMYK values Pillow decodes. Also a TIFF of 1-bit and one of palette texels.
The picture is drawn here: a slope in each component, 24 x 16 texels, odd block sizes on purpose."""
import os
import sys

import numpy as np
from PIL import Image

folder = sys.argv[1]
os.makedirs(folder, exist_ok=True)
y, x = np.mgrid[0:16, 0:24]
rgb = np.stack([x * 10, y * 15, 255 - x * 5 - y * 5], 2).astype(np.uint8)
gray = (x * 6 + y * 6).astype(np.uint8)
cmyk = np.concatenate([rgb, ((x + y) * 4)[..., None].astype(np.uint8)], 2)


def path(name):
    return os.path.join(folder, name)


def plain(image):
    ink = np.asarray(image).astype(float) / 255
    light = (1 - ink[..., :3]) * (1 - ink[..., 3:])
    return Image.fromarray(np.rint(light * 255).astype(np.uint8))


def keep(name):
    image = Image.open(path(name + ".jpg"))
    image = plain(image) if image.mode == "CMYK" else image
    image.save(path(name + ".png"), optimize=True)


Image.fromarray(rgb).save(path("baseline.jpg"), quality=90, subsampling="4:4:4")
Image.fromarray(rgb).save(path("progressive.jpg"), quality=90, progressive=True, subsampling="4:2:0")
Image.fromarray(gray).save(path("gray.jpg"), quality=90)
Image.fromarray(cmyk, "CMYK").save(path("cmyk.jpg"), quality=90)
turned = Image.Exif()
turned[0x0112] = 6
Image.fromarray(np.rot90(rgb)).save(path("turned.jpg"), quality=90, subsampling="4:4:4", exif=turned)
# The same samples read as YCCK: the transform of the Adobe segment decides.
data = bytearray(open(path("cmyk.jpg"), "rb").read())
data[data.index(b"Adobe") + 11] = 2
open(path("ycck.jpg"), "wb").write(data)
for name in ["baseline", "progressive", "gray", "cmyk", "ycck"]:
    keep(name)
Image.open(path("turned.jpg")).transpose(Image.Transpose.ROTATE_270).save(path("turned.png"), optimize=True)
palette = Image.fromarray(rgb).quantize(16)
palette.save(path("palette.tif"), compression="tiff_lzw")
palette.convert("RGB").save(path("palette.png"), optimize=True)
bits = Image.fromarray(((x + y) % 3 == 0).astype(np.uint8) * 255).convert("1")
bits.save(path("bits.tif"))
bits.convert("L").save(path("bits.png"), optimize=True)
