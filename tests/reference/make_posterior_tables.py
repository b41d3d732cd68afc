"""Tables of what readings leave open. Usage: make_posterior_tables.py FOLDER

sklearn_posterior.csv   case,sigma,bend,role,x,y,h,sd   scikit-learn's GaussianProcessRegressor: given readings, the mean h and the standard
                        deviation sd of the surface at each query, noise sigma and bend known
known_posterior.csv     case,spread,role,x,y,h,sd       the same with bows as well, noise and bend uncertain: numerical integration over
                        both on a fine grid with NumPy; a line of the role "hyper" has exp(E ln noise) as h, exp(E ln bend) as sd

The surface is a plane that may be any (here: of a variance so large that it makes no difference) plus a bend whose covariance on all that
a plane leaves over is tau^2 r^2 ln r / (8 pi). That covariance is not positive definite; what is taken here is its reproducing kernel
with the plane through three anchors taken off (G. Wahba, Spline Models for Observational Data, SIAM 1990, section 2.4), which is, and
gives the same posterior. bend = tau times the readings' extent. Lengths are mm.
"""

import csv
import sys
from pathlib import Path

import numpy as np
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import Kernel

from make_scipy_tables import readings

ANY = 1e4  # variance of the plane's parts, mm^2


def thin(a, b):
    d2 = ((a[:, None, :] - b[None, :, :]) ** 2).sum(-1)
    return np.where(d2 > 0, 0.5 * d2 * np.log(np.where(d2 > 0, d2, 1.0)), 0.0) / (8 * np.pi)


class Surface(Kernel):
    """Plane, bend of tau and, where bow is not 0, three bows."""

    def __init__(self, middle, half, tau, bow):
        self.middle, self.half, self.tau, self.bow = middle, half, tau, bow

    def __call__(self, X, Y=None, eval_gradient=False):
        Y = X if Y is None else Y
        u, v = (X - self.middle) / self.half, (Y - self.middle) / self.half
        anchors = np.array([[-0.9, -0.8], [0.9, -0.7], [0.1, 0.95]])
        basis = np.linalg.inv(np.c_[np.ones(3), anchors])
        p, q = np.c_[np.ones(len(u)), u] @ basis, np.c_[np.ones(len(v)), v] @ basis
        e = thin(u, v) - p @ thin(anchors, v) - thin(u, anchors) @ q.T + p @ thin(anchors, anchors) @ q.T
        # r^2 ln r in mm^2 is half^2 times that in halves, less what a plane takes up.
        k = (self.tau * self.half) ** 2 * e + ANY * (1.0 + u @ v.T)
        columns = lambda w: np.c_[w[:, 0] ** 2, np.sqrt(2) * w[:, 0] * w[:, 1], w[:, 1] ** 2]
        return k + self.bow**2 * columns(u) @ columns(v).T

    def diag(self, X):
        return np.array([self(x[None, :])[0, 0] for x in X])

    def is_stationary(self):
        return False


def fit(points, heights, middle, half, sigma, bend, bow):
    kernel = Surface(middle, half, bend / (2 * half), bow)
    return GaussianProcessRegressor(kernel, alpha=sigma**2, optimizer=None).fit(points, heights)


def setting(n, rng):
    points, heights = readings(n, rng)
    low, high = points.min(axis=0), points.max(axis=0)
    # Outside the readings too.
    queries = rng.uniform(0, 235, (20, 2)).round(3)
    return points, heights, queries, (low + high) / 2, (high - low).max() / 2


def write(out, head, points, heights, queries, mean, sd):
    for (x, y), h in zip(points, heights):
        out.writerow([*head, "reading", float(x), float(y), float(h), ""])
    for (x, y), h, s in zip(queries, mean, sd):
        out.writerow([*head, "query", float(x), float(y), float(h), float(s)])


def main(folder):
    rng = np.random.default_rng(7)
    with open(folder / "sklearn_posterior.csv", "w", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow("case,sigma,bend,role,x,y,h,sd".split(","))
        for n, sigma, bend in [(9, 0.02, 0.3), (12, 0.01, 0.1), (25, 0.02, 0.3), (25, 0.04, 0.02), (49, 0.02, 0.5)]:
            points, heights, queries, middle, half = setting(n, rng)
            mean, sd = fit(points, heights, middle, half, sigma, bend, 0.0).predict(queries, return_std=True)
            write(out, (n, sigma, bend), points, heights, queries, mean, sd)

    with open(folder / "known_posterior.csv", "w", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow("case,spread,role,x,y,h,sd".split(","))
        for n, spread in [(9, 0.02), (12, 0.005), (25, 0.02), (49, 0.01)]:
            points, heights, queries, middle, half = setting(n, rng)
            logs, means, squares, hyper = [], [], [], []
            for noise in np.linspace(-3.6, 3.6, 37) * 0.35:
                for bend in np.linspace(-4.5, 4.5, 55):
                    sigma, size = spread * np.exp(noise), 0.1 * np.exp(bend)
                    model = fit(points, heights, middle, half, sigma, size, 0.1)
                    mean, sd = model.predict(queries, return_std=True)
                    prior = -0.5 * (noise / 0.35) ** 2 - 0.5 * bend**2
                    logs.append(model.log_marginal_likelihood_value_ + prior)
                    means.append(mean)
                    squares.append(sd**2 + mean**2)
                    hyper.append([np.log(sigma), np.log(size)])
            share = np.exp(np.array(logs) - max(logs))
            share /= share.sum()
            mean = share @ np.array(means)
            sd = np.sqrt(share @ np.array(squares) - mean**2)
            write(out, (n, spread), points, heights, queries, mean, sd)
            noise, bend = np.exp(share @ np.array(hyper))
            out.writerow([n, spread, "hyper", 0.0, 0.0, float(noise), float(bend)])


if __name__ == "__main__":
    main(Path(sys.argv[1]))
