"""Thin-plate fits beside SciPy's, on the same readings, in turns in one run. Usage: time_scipy_fits.py PROGRAM [REPEATS]

PROGRAM is fit_times: cargo build --release -p evengap-tests --example fit_times. SciPy fits with RBFInterpolator
(kernel="thin_plate_spline", degree=1); both may use all cores. Each round times both once; printed are the
medians, the fastest, and the ratio of the medians, and how far the two surfaces are apart at the readings. The last lines time
what SciPy has no counterpart to: the amount of smoothing found from a spread.
"""

import os
import statistics
import subprocess
import sys
import time

import numpy as np
import scipy
from scipy.interpolate import RBFInterpolator


def readings(n):
    rng = np.random.default_rng(n)
    places = rng.uniform(0, 235, (n, 2)).round(3)
    u, v = places.T / 117.5 - 1
    heights = 0.1 - 0.3 * u * u + 0.1 * u * v + rng.normal(0, 0.01, n)
    return places, heights.round(4)


def ours(program, places, heights, smoothing, repeats):
    lines = "\n".join(f"{float(x)!r},{float(y)!r},{float(h)!r}" for (x, y), h in zip(places, heights))
    out = subprocess.run([program, str(smoothing), str(repeats)], input=lines, capture_output=True, text=True, check=True)
    times, values = out.stdout.split("heights\n")
    return [float(t) for t in times.split()], np.array([float(v) for v in values.split()])


def main(program, rounds):
    print(f"SciPy {scipy.__version__}, NumPy {np.__version__}, {os.cpu_count()} cores, {rounds} rounds, seconds")
    for n in (100, 400, 1000, 1600, 2500):
        places, heights = readings(n)
        for smoothing in (0.0, 500.0):
            theirs, mine, apart = [], [], 0.0
            for _ in range(rounds):
                start = time.perf_counter()
                spline = RBFInterpolator(places, heights, kernel="thin_plate_spline", degree=1, smoothing=smoothing)
                theirs.append(time.perf_counter() - start)
                times, values = ours(program, places, heights, smoothing, 1)
                mine += times
            apart = np.abs(values - spline(places)).max()
            a, b = statistics.median(mine), statistics.median(theirs)
            print(
                f"{n:5} readings, smoothing {smoothing:5}: {a:.4f} (fastest {min(mine):.4f}), "
                f"SciPy {b:.4f} ({min(theirs):.4f}), ratio {a / b:.2f}, apart {apart:.1e} mm",
                flush=True,
            )
    for n in (25, 100, 400, 1000, 1600, 2500):
        times, _ = ours(program, *readings(n), "auto=0.01", 3)
        print(f"{n:5} readings, smoothing from a spread: {statistics.median(times):.4f}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 9)
