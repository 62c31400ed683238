#!/usr/bin/python3
"""Least distances of random convex pairs by an independent minimiser, for measure/solid.

    /usr/bin/python3 pairs.py pairs.csv

(to a named file: the Fortran inside scipy prints to stdout)

Disjoint pairs: the distance of two surface points is minimised over their surface parameters
by scipy's L-BFGS-B from many starts (a value near a minimum is off by the square of the
gradient, so 1e-9 mm is reached easily). Overlapping pairs: the width h(n) of the difference
body is minimised over directions n: a grid of 40,000, then Nelder-Mead from the best.

Nothing is shared with the Go code: no support-point search, no signed distances.
"""
import csv
import sys

import numpy as np
import scipy
from scipy.optimize import minimize

rng = np.random.default_rng(20261125)


def unit(v):
    return v / np.linalg.norm(v)


def basis(a):
    e = np.eye(3)[np.argmin(np.abs(a))]
    u = unit(np.cross(a, e))
    return u, np.cross(a, u)


class Cone:  # hull of two balls: ax ay az bx by bz ra rb
    name = "roundcone"

    def __init__(self, p):
        self.p, self.a, self.b, self.ra, self.rb = p, p[:3], p[3:6], p[6], p[7]
        self.patches = [[(0.0, 1.0)]]

    def point(self, _, t):  # the centre of a ball, and its radius
        return self.a + t[0] * (self.b - self.a), self.ra + t[0] * (self.rb - self.ra)

    def h(self, n):
        return np.maximum(n @ self.a + self.ra, n @ self.b + self.rb)


class Frustum:  # cx cy cz ax ay az length r0 r1
    name = "frustum"

    def __init__(self, p):
        self.p, self.c, self.a, self.l, self.r0, self.r1 = p, p[:3], p[3:6], p[6], p[7], p[8]
        self.u, self.v = basis(self.a)
        w = (-20.0, 20.0)
        self.patches = [[(0.0, 1.0), w], [(0.0, 1.0), w], [(0.0, 1.0), w]]  # ends, side

    def point(self, patch, t):
        e = np.cos(t[1]) * self.u + np.sin(t[1]) * self.v
        if patch == 0:
            return self.c + t[0] * self.r0 * e, 0.0
        if patch == 1:
            return self.c + self.l * self.a + t[0] * self.r1 * e, 0.0
        return self.c + t[0] * self.l * self.a + (self.r0 + t[0] * (self.r1 - self.r0)) * e, 0.0

    def h(self, n):
        z = n @ self.a
        w = np.sqrt(np.maximum(1 - z * z, 0))
        return n @ self.c + np.maximum(self.r0 * w, self.l * z + self.r1 * w)


class Triangle:  # three corners
    name = "triangle"

    def __init__(self, p):
        self.p, self.c = p, p.reshape(3, 3)
        self.patches = [[(0.0, 1.0), (0.0, 1.0)]]

    def point(self, _, t):  # t0 along, t1 from the first corner
        e = self.c[1] + t[0] * (self.c[2] - self.c[1])
        return self.c[0] + t[1] * (e - self.c[0]), 0.0

    def h(self, n):
        return np.max(n @ self.c.T, axis=-1)


def depth(a, b):
    i = np.arange(40000) + 0.5
    z, f = 1 - 2 * i / 40000, np.pi * (1 + 5**0.5) * i
    n = np.c_[np.cos(f) * np.sqrt(1 - z * z), np.sin(f) * np.sqrt(1 - z * z), z]
    h = a.h(n) + b.h(-n)
    if h.min() < 0:
        return None
    best = np.inf
    for k in np.argsort(h)[:12]:
        u, v = basis(n[k])

        def f(t):
            m = unit(n[k] + t[0] * u + t[1] * v)[None, :]
            return float((a.h(m) + b.h(-m))[0])

        t = np.zeros(2)
        for size in (1e-2, 1e-4, 1e-6):
            r = minimize(f, t, method="Nelder-Mead", options=dict(
                xatol=1e-13, fatol=1e-13, maxiter=4000, initial_simplex=t + size * np.array([[0, 0], [1, 0], [0, 1]])))
            t = r.x
        best = min(best, r.fun)
    return best


def distance(a, b):
    best = np.inf
    for i, pa in enumerate(a.patches):
        for j, pb in enumerate(b.patches):
            bounds, na = pa + pb, len(pa)

            def f(t):
                x, rx = a.point(i, t[:na])
                y, ry = b.point(j, t[na:])
                return np.linalg.norm(x - y) - rx - ry

            for k in range(6):
                t = np.array([rng.uniform(lo, hi) if hi == 1 else rng.uniform(-np.pi, np.pi) for lo, hi in bounds])
                for _ in range(4):
                    t = minimize(f, t, method="L-BFGS-B", bounds=bounds, options=dict(ftol=1e-16, gtol=1e-11, maxiter=2000)).x
                best = min(best, f(t))
    return best


def body(kind, spread):
    c = rng.uniform(-spread, spread, 3)
    a = unit(rng.normal(size=3))
    if kind == "roundcone":
        l, ra = rng.uniform(0.5, 15), rng.uniform(0.2, 3)
        rb = np.clip(ra + rng.uniform(-0.6, 0.6) * l, 0.1, 6)
        return Cone(np.r_[c, c + l * a, ra, rb])
    if kind == "frustum":
        return Frustum(np.r_[c, a, rng.uniform(4, 15), rng.uniform(1, 3), rng.uniform(0.3, 3)])
    return Triangle((c + rng.normal(size=(3, 3)) * 5).ravel())


def main():
    out = open(sys.argv[1], "w", newline="")
    w = csv.writer(out, lineterminator="\n")
    w.writerow(["kind_a"] + [f"a{i}" for i in range(9)] + ["kind_b"] + [f"b{i}" for i in range(9)] + ["distance_mm"])
    for ka, kb, count in [("roundcone", "roundcone", 60), ("frustum", "roundcone", 90), ("frustum", "frustum", 90),
                          ("frustum", "triangle", 60), ("roundcone", "triangle", 40)]:
        done = 0
        while done < count:
            spread = 4 if done % 3 == 2 else 9
            a, b = body(ka, spread), body(kb, spread)
            d = depth(a, b)
            if d is not None and kb == "triangle":
                continue  # no depth is asked of a lone triangle
            d = distance(a, b) if d is None else -d
            pad = lambda p: [repr(float(x)) for x in p] + [""] * (9 - len(p))
            w.writerow([ka] + pad(a.p) + [kb] + pad(b.p) + [f"{d:.12f}"])
            done += 1
    out.close()
    print(f"scipy {scipy.__version__}, numpy {np.__version__}", file=sys.stderr)


main()
