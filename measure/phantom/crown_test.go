package phantom

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

func volumeOf(m Mesh) float64 {
	sum := 0.0
	for _, t := range m.Triangles {
		sum += r3.Dot(m.Points[t[0]], r3.Cross(m.Points[t[1]], m.Points[t[2]])) / 6
	}
	return sum
}

// Each corner of a standing tooth's crown lies where the painted enamel ends: 0.02 mm outside it there is no enamel,
// 0.02 mm inside there is. The whole surface is closed and faces outward in both jaws; what shows above the mucosa is
// part of it and open.
func TestCrownIsTheEnamelThatIsPainted(t *testing.T) {
	for _, kind := range []Kind{Mandible, Maxilla} {
		for _, fdi := range map[Kind][]int{Mandible: {33, 46, 44}, Maxilla: {13, 26, 21}}[kind] {
			j, err := New(Options{Jaw: kind, Teeth: []int{fdi}, Sites: []int{map[Kind]int{Mandible: 37, Maxilla: 17}[kind]}})
			require.NoError(t, err)
			m, err := j.Crown(fdi, true)
			require.NoError(t, err)
			require.Greater(t, volumeOf(m), 40.0, "%d: outward", fdi)
			edges := map[[2]int]int{}
			for _, f := range m.Triangles {
				for k := range 3 {
					edges[[2]int{f[k], f[(k+1)%3]}]++
				}
			}
			for e, n := range edges {
				require.Equal(t, 1, n)
				require.Equal(t, 1, edges[[2]int{e[1], e[0]}], "closed")
			}
			middle := r3.Vec{}
			for _, p := range m.Points {
				middle = r3.Add(middle, r3.Scale(1/float64(len(m.Points)), p))
			}
			inside, outside := 0, 0
			for _, p := range m.Points {
				u := r3.Unit(r3.Sub(p, middle))
				if math.Abs(j.Grey(r3.Add(p, r3.Scale(-0.02, u)))-2700) < 1 {
					inside++
				}
				if j.Grey(r3.Add(p, r3.Scale(0.02, u))) < 2600 {
					outside++
				}
			}
			require.Greater(t, float64(inside), 0.6*float64(len(m.Points)), "the rest is the root's, below the neck")
			require.Greater(t, float64(outside), 0.85*float64(len(m.Points)))
			open, err := j.Crown(fdi, false)
			require.NoError(t, err)
			require.Less(t, len(open.Triangles), len(m.Triangles))
			require.Greater(t, len(open.Triangles), len(m.Triangles)/4)
			_, err = j.Crown(map[Kind]int{Mandible: 11, Maxilla: 41}[kind], true)
			require.ErrorIs(t, err, ErrOptions)
		}
	}
}

// Recorded without error in a frame turned and shifted, every distance between platforms is the plan's; an implant placed
// off its plan is off by just that; noise has the SD asked for (200 draws of 8 implants: 3 %).
func TestRecordingIsThePlanElsewhere(t *testing.T) {
	j, err := New(Options{})
	require.NoError(t, err)
	off := r3.Vec{X: 0.1, Y: -0.2, Z: 0.3}
	r := j.Record(RecordOptions{Turn: r3.Vec{X: 10, Y: -30, Z: 5}, Shift: r3.Vec{X: 7, Z: -9}, Off: map[int]r3.Vec{36: off}})
	for i, p := range r.Recorded {
		require.InDelta(t, 1, r3.Norm(p.Axis), 1e-12)
		for k, q := range r.Recorded {
			want := r3.Norm(r3.Sub(r.Placed[i].Platform, r.Placed[k].Platform))
			require.InDelta(t, want, r3.Norm(r3.Sub(p.Platform, q.Platform)), 1e-9)
			require.InDelta(t, r3.Dot(r.Planned[i].Axis, r.Planned[k].Axis), r3.Dot(p.Axis, q.Axis), 1e-9)
		}
		if d := r3.Sub(r.Placed[i].Platform, r.Planned[i].Platform); r.Planned[i].Tooth == 36 {
			require.InDelta(t, 0, r3.Norm(r3.Sub(d, off)), 1e-12)
		} else {
			require.Zero(t, r3.Norm(d))
		}
	}
	placed := j.Places(3)
	for i, p := range j.Record(RecordOptions{As: placed}).Recorded {
		require.Equal(t, Recorded{placed[i].Tooth, placed[i].Platform, placed[i].Axis}, p)
	}
	sum, n := 0.0, 0.0
	for seed := range uint64(200) {
		for _, e := range j.Record(RecordOptions{Seed: seed, Noise: 0.05}).Errors {
			sum, n = sum+r3.Norm2(e), n+3
		}
	}
	require.InEpsilon(t, 0.05, math.Sqrt(sum/n), 0.03)
}
