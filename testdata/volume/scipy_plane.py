#!/usr/bin/python3
"""Writes plane.csv: an oblique plane through a small anisotropic, sheared volume of random grey
values, sampled by scipy.ndimage.map_coordinates (order 1) and placed by nibabel's affine rules.
Run with Debian's python3-scipy and python3-nibabel:  /usr/bin/python3 testdata/volume/scipy_plane.py
"""
import csv, os
import numpy as np, scipy
from nibabel.affines import apply_affine
from scipy.ndimage import map_coordinates

n = (7, 6, 5)  # columns, rows, slices
i, j, k = np.meshgrid(*map(np.arange, n), indexing="ij")
grey = ((i * 7919 + j * 104729 + k * 1299709 + i * j * k * 31) % 4001 - 1000).astype(float)
affine = np.array([[0.3, -0.1, 0.02, -10], [0.1, 0.4, 0.2, 4], [0, 0.05, -0.5, 7], [0, 0, 0, 1]])
origin, dx, dy = np.array([-9.4, 5.2, 6.4]), np.array([0.11, 0.05, -0.04]), np.array([-0.02, 0.09, -0.1])
here = os.path.dirname(os.path.abspath(__file__))
with open(os.path.join(here, "plane.csv"), "w", newline="") as f:
    w = csv.writer(f, lineterminator="\n")
    w.writerow([f"x (scipy {scipy.__version__})", "y", "grey"])
    for y in range(9):
        for x in range(12):
            ix = apply_affine(np.linalg.inv(affine), origin + x * dx + y * dy)
            inside = all(0 <= c <= m - 1 for c, m in zip(ix, n))
            v = map_coordinates(grey, ix.reshape(3, 1), order=1)[0] if inside else ""
            w.writerow([x, y, v if v == "" else f"{v:.6f}"])
