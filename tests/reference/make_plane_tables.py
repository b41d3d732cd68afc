"""Planes from NumPy against which the screws' moves are tested. Usage: make_plane_tables.py FOLDER

numpy_planes.csv  case,role,x,y,a,b
  role "reading"  a = height, b = spread (one standard deviation; the same on all readings of a case, or not)
  role "screw"    a = the height change there that takes the plane off, by numpy.linalg.lstsq, each reading divided by its spread;
                  b = its standard deviation by the spreads (numpy.linalg.inv of the normal equations)
  role "range"    a = highest minus lowest reading, b = the same of what the plane leaves
Lengths are mm. Numbers are written so that they read back to the same bits.
"""

import csv
import sys
from pathlib import Path

import numpy as np


def main(folder):
    rng = np.random.default_rng(3)
    with open(folder / "numpy_planes.csv", "w", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(["case", "role", "x", "y", "a", "b"])
        for case in range(24):
            n = int(rng.integers(4, 60))
            points = rng.uniform(5, 295, (n, 2)).round(2)
            u, v = (points / 150 - 1).T
            tilt, bend = rng.normal(0, 0.3, 3), rng.normal(0, 0.1, 3)
            heights = tilt[0] + tilt[1] * u + tilt[2] * v + bend[0] * u * u + bend[1] * v * v + bend[2] * u * v
            heights = (heights + rng.normal(0, 0.02, n)).round(4)
            spreads = np.full(n, 0.02) if case % 2 == 0 else rng.uniform(0.005, 0.06, n).round(3)
            count = int(rng.integers(3, 9))
            # Screws that stand nearly on one line carry no plane.
            while True:
                screws = rng.uniform(-20, 320, (count, 2)).round(1)
                long, narrow = np.linalg.svd(screws - screws.mean(axis=0), compute_uv=False)
                if narrow > 0.1 * long:
                    break
            design = np.column_stack([np.ones(n), points])
            plane, *_ = np.linalg.lstsq(design / spreads[:, None], heights / spreads, rcond=None)
            covariance = np.linalg.inv((design / spreads[:, None] ** 2).T @ design)
            for (x, y), h, s in zip(points, heights, spreads):
                out.writerow([case, "reading", float(x), float(y), float(h), float(s)])
            for x, y in screws:
                row = np.array([1.0, x, y])
                out.writerow([case, "screw", float(x), float(y), float(-row @ plane), float(np.sqrt(row @ covariance @ row))])
            left = heights - design @ plane
            out.writerow([case, "range", 0.0, 0.0, float(np.ptp(heights)), float(np.ptp(left))])


main(Path(sys.argv[1]))
