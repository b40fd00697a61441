#!/usr/bin/env python3
"""Published values of the 24 patches and root-polynomial fits, by the open library colour-science, see chart_reference.requirements.txt.

chart_reference.py FOLDER   writes crates/tatter-capture/tests/fixtures/chart/{patches,fit}.csv

patches.csv: both editions (charts made before and after November 2014), CIELAB under D50 of ICC and linear Rec.709 (Bradford to D65).
fit.csv: a made camera's readings of the patches and what the library's root-polynomial of degree 2 (Finlayson, Mackiewicz, Hurlbert,
2015) makes of them.
"""
import sys
from collections.abc import Mapping

import colour
import numpy as np

ICC_D50 = np.array([0.34570, 0.35854])


def editions():
    """The data set that has both editions, found by its keys."""
    for value in (getattr(colour, name, None) for name in dir(colour)):
        if isinstance(value, Mapping):
            keys = [k for k in value if str(k).endswith(("Before November 2014", "After November 2014"))]
            if any("24" in k for k in keys):
                return {k.split(" - ")[1]: value[k] for k in sorted(keys) if "24" in k}
    raise SystemExit("no such data set")


def main(folder):
    space = colour.RGB_COLOURSPACES["sRGB"]
    with open(f"{folder}/patches.csv", "w", encoding="utf-8") as file:
        file.write(f"# colour-science {colour.__version__}, by tools/chart_reference.py\n")
        file.write("edition,patch,L,a,b,red,green,blue\n")
        for name, chart in editions().items():
            for number, xyy in enumerate(chart.data.values()):
                xyz = colour.xyY_to_XYZ(xyy)
                lab = colour.XYZ_to_Lab(xyz, ICC_D50)
                rgb = colour.XYZ_to_RGB(xyz, space, chart.illuminant, "Bradford")
                row = ",".join(f"{v:.5f}" for v in [*lab, *rgb])
                file.write(f"{name.split()[0].lower()},{number},{row}\n")
                if name.startswith("After"):
                    TRUTH.append(rgb)
    truth = np.array(TRUTH)
    # A made camera: its channels overlap, its green is strongest; readings bent a little, as no linear camera's are.
    camera = np.array([[0.62, 0.31, 0.05], [0.14, 0.88, 0.12], [0.03, 0.22, 0.70]])
    seen = np.clip(truth, 0, None) @ camera.T
    seen = 0.9 * seen + 0.1 * np.sqrt(np.prod(seen, 1, keepdims=True) ** (2 / 3))
    fitted = colour.characterisation.colour_correction_Finlayson2015(seen, seen, truth, 2, True)
    with open(f"{folder}/fit.csv", "w", encoding="utf-8") as file:
        file.write(f"# colour-science {colour.__version__}, by tools/chart_reference.py: root-polynomial of degree 2, plain least squares\n")
        file.write("camera_red,camera_green,camera_blue,fit_red,fit_green,fit_blue\n")
        for a, b in zip(seen, fitted):
            file.write(",".join(f"{v:.7f}" for v in [*a, *b]) + "\n")


TRUTH = []
main(sys.argv[1])
