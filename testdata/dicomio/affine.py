#!/usr/bin/python3
"""Prints, as JSON lines, where nibabel places voxels of DICOM files, in patient coordinates (LPS, mm).

Usage: affine.py FILE...   One line a file (single frame: slice index 0; multi-frame: every frame):
{"file": ..., "points": [[column, row, slice, x, y, z], ...]}

nibabel's index order is (row, column, slice); its DICOM affine is in LPS.
"""
import json
import sys

from nibabel.nicom import dicomwrappers
import numpy as np
import pydicom

for path in sys.argv[1:]:
    wrapper = dicomwrappers.wrapper_from_data(pydicom.dcmread(path, force=True))
    shape = wrapper.image_shape
    slices = shape[2] if len(shape) > 2 else 1
    points = []
    for column, row, k in [(0, 0, 0), (5, 0, 0), (0, 3, 0), (2, 4, slices - 1)]:
        x, y, z = (wrapper.affine @ np.array([row, column, k, 1.0]))[:3]
        points.append([column, row, k, x, y, z])
    print(json.dumps({"file": path, "points": points}))
