package align

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// kabsch fits points by numpy's SVD: written from the formula R = V·diag(1, 1, det(V·Uᵀ))·Uᵀ, not from this package.
const kabsch = `
import json, sys
import numpy as np
out = []
for case in json.load(sys.stdin):
    a, b = np.array(case["a"]), np.array(case["b"])
    ca, cb = a.mean(axis=0), b.mean(axis=0)
    u, s, vt = np.linalg.svd((a - ca).T @ (b - cb))
    d = np.sign(np.linalg.det(vt.T @ u.T))
    rest = []
    for sign in (d, -d):
        r = vt.T @ np.diag([1, 1, sign]) @ u.T
        rest.append(float(np.sqrt((((b - cb) - (a - ca) @ r.T) ** 2).sum(axis=1).mean())))
    r = vt.T @ np.diag([1, 1, d]) @ u.T
    out.append({"r": r.tolist(), "t": (cb - r @ ca).tolist(), "rms": rest[0], "mirror": rest[1]})
print(json.dumps(out))
`

// python finds a Python with numpy: Debian's, python3-numpy.
func python(t *testing.T) string {
	t.Helper()
	for _, p := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(p, "-c", "import numpy").Run() == nil {
			return p
		}
	}
	t.Skip("no python3 with numpy here (Debian: python3-numpy): our fit of points was not held against numpy's SVD")
	return ""
}

// 60 sets of 3 to 12 points, noisy and turned by any angle, some mirrored: rotation, translation and both residuals are
// numpy's to 1e-9.
func TestFitOfPointsIsThatOfNumpy(t *testing.T) {
	program := python(t)
	type pairs struct {
		A [][3]float64 `json:"a"`
		B [][3]float64 `json:"b"`
	}
	r := rand.New(rand.NewPCG(11, 12))
	var cases []pairs
	var from, to [][]r3.Vec
	for k := range 60 {
		a := shaken(r, parabola(3+k%10), 6)
		move := Rigid("", "", r3.Vec{X: 2 * r.NormFloat64(), Y: 2 * r.NormFloat64(), Z: 2 * r.NormFloat64()}, r3.Vec{X: 100 * r.Float64(), Y: -40})
		b := shaken(r, a, 0.4)
		var c pairs
		for i := range a {
			if k%4 == 3 {
				b[i].X = -b[i].X
			}
			b[i] = move.Apply(b[i])
			c.A, c.B = append(c.A, coordinates(a[i])), append(c.B, coordinates(b[i]))
		}
		cases, from, to = append(cases, c), append(from, a), append(to, b)
	}
	in, err := json.Marshal(cases)
	require.NoError(t, err)
	cmd := exec.Command(program, "-c", kabsch)
	cmd.Stdin = bytes.NewReader(in)
	text, err := cmd.Output()
	require.NoError(t, err)
	var want []struct {
		R           [3][3]float64
		T           [3]float64
		RMS, Mirror float64
	}
	require.NoError(t, json.Unmarshal(text, &want))
	require.Len(t, want, len(cases))
	for k := range cases {
		f, err := FitPoints(from[k], to[k])
		require.NoError(t, err)
		for i := range 3 {
			require.InDeltaSlice(t, want[k].R[i][:], f.Rotation[i][:], 1e-9, "case %d", k)
		}
		got := coordinates(f.Translation)
		require.InDeltaSlice(t, want[k].T[:], got[:], 1e-7, "case %d", k)
		require.InDelta(t, want[k].RMS, f.RMS, 1e-9, "case %d", k)
		require.InDelta(t, want[k].Mirror, f.MirrorRMS, 1e-9, "case %d", k)
	}
}
