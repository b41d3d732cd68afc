"""Tables from SciPy against which the height map is tested. Usage: make_scipy_tables.py FOLDER

scipy_thin_plate.csv  case,smoothing,role,x,y,h   RBFInterpolator(kernel="thin_plate_spline", degree=1, smoothing=...)
scipy_bilinear.csv    role,x,y,h                  RegularGridInterpolator(method="linear") after clamping to the grid

role is "reading" (given) or "query" (SciPy's value). Lengths are mm. Numbers are written so that they read back to the same bits.
"""

import csv
import sys
from pathlib import Path

import numpy as np
from scipy.interpolate import RBFInterpolator, RegularGridInterpolator

QUERIES = 40


def bed(x, y):
    """A bent bed, mm: tilt, bow, twist and a ripple."""
    u, v = (x - 117.5) / 117.5, (y - 117.5) / 117.5
    return 0.05 + 0.08 * u - 0.03 * v - 0.12 * u * u + 0.05 * v * v + 0.06 * u * v + 0.02 * np.sin(5 * u + 2 * v)


def readings(n, rng):
    side = int(round(n**0.5))
    if side * side == n:
        # A grid that is off by some mm at every node, as nozzles carried by hand are.
        gx, gy = np.meshgrid(np.linspace(12, 223, side), np.linspace(12, 223, side))
        points = np.column_stack([gx.ravel(), gy.ravel()]) + rng.uniform(-2, 2, (n, 2))
    else:
        points = rng.uniform(10, 225, (n, 2))
    points = points.round(3)
    values = (bed(points[:, 0], points[:, 1]) + rng.normal(0, 0.01, n)).round(4)
    return points, values


def main(folder):
    rng = np.random.default_rng(1)
    with open(folder / "scipy_thin_plate.csv", "w", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(["case", "smoothing", "role", "x", "y", "h"])
        cases = [(n, 0.0) for n in (9, 16, 25, 37, 49, 100, 225, 400)] + [(9, 500.0), (25, 2000.0), (49, 1e5)]
        for n, smoothing in cases:
            points, values = readings(n, rng)
            spline = RBFInterpolator(points, values, kernel="thin_plate_spline", degree=1, smoothing=smoothing)
            low, high = points.min(axis=0), points.max(axis=0)
            queries = rng.uniform(low, high, (QUERIES, 2)).round(3).clip(low, high)
            for role, where, what in (("reading", points, values), ("query", queries, spline(queries))):
                for (x, y), h in zip(where, what):
                    out.writerow([n, float(smoothing), role, float(x), float(y), float(h)])

    xs = np.array([15.0, 40.0, 100.5, 117.0, 160.0, 222.25])
    ys = np.array([10.0, 60.0, 61.0, 150.0, 220.0])
    gx, gy = np.meshgrid(xs, ys, indexing="ij")
    heights = (bed(gx, gy) + rng.normal(0, 0.02, gx.shape)).round(4)
    grid = RegularGridInterpolator((xs, ys), heights, method="linear")
    queries = rng.uniform(-20, 260, (120, 2)).round(3)
    clamped = queries.clip([xs[0], ys[0]], [xs[-1], ys[-1]])
    with open(folder / "scipy_bilinear.csv", "w", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(["role", "x", "y", "h"])
        for (x, y), h in zip(np.column_stack([gx.ravel(), gy.ravel()]), heights.ravel()):
            out.writerow(["reading", float(x), float(y), float(h)])
        for (x, y), h in zip(queries, grid(clamped)):
            out.writerow(["query", float(x), float(y), float(h)])


main(Path(sys.argv[1]))
