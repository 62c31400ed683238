package align

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Bright is a body in the second scan that is as bright as metal where the first scan shows none.
type Bright struct {
	Middle r3.Vec  // in the first scan's frame, mm
	Size   float64 // mm³, of what lies where it was looked for
}

// Grey values in units of what bone is brighter than the tissue about it; our choice. In the synthetic scans cortex is 1.3, enamel 2,
// metal 2.7 and more; bone where there was none is 1.
const (
	brightLeast = 2.0  // a body is as bright as this
	brighter    = 1.5  // and brighter than anything the first scan shows about its place
	brightStep  = 0.5  // mm
	brightSize  = 10.0 // mm³; the smallest implants have 40, of which a fifth lies below 4 mm of a ridge
)

// NewBright returns what is as bright as metal in the second scan, and was not in the first, at places of the first scan's frame that
// where lets stand; t takes first to second. Crowns and implants that both scans show are none of it.
func NewBright(first, second *volume.Volume, t Transform, where func(r3.Vec) bool) []Bright {
	before, after := greysOf(first), greysOf(second)
	old, back := newImage(first), t.Inverse()
	var points []r3.Vec
	var every [3]int
	for axis, h := range second.Spacing() {
		every[axis] = max(1, int(math.Round(brightStep/h)))
	}
	for k := 0; k < second.Size[2]; k += every[2] {
		for j := 0; j < second.Size[1]; j += every[1] {
			for i := 0; i < second.Size[0]; i += every[0] {
				g := after.of(second.Grey(i, j, k))
				if !(g > brightLeast) {
					continue
				}
				p := back.Apply(second.Patient(volume.Index{I: float64(i), J: float64(j), K: float64(k)}))
				if where(p) && g-before.most(old, p) > brighter {
					points = append(points, p)
				}
			}
		}
	}
	h := second.Spacing()
	edges := [3]float64{h[0] * float64(every[0]), h[1] * float64(every[1]), h[2] * float64(every[2])}
	return bodiesOf(points, slices.Max(edges[:]), edges[0]*edges[1]*edges[2])
}

// bodiesOf parts points of so many mm³ each into bodies that hang together, the largest first; small ones are left out.
func bodiesOf(points []r3.Vec, step, each float64) (out []Bright) {
	for len(points) > 0 {
		body := connected(points, points[0], step)
		taken := make(map[r3.Vec]bool, len(body))
		var middle r3.Vec
		for _, p := range body {
			taken[p] = true
			middle = r3.Add(middle, r3.Scale(1/float64(len(body)), p))
		}
		points = slices.DeleteFunc(points, func(p r3.Vec) bool { return taken[p] })
		if size := each * float64(len(body)); size >= brightSize {
			out = append(out, Bright{middle, size})
		}
	}
	slices.SortStableFunc(out, func(a, b Bright) int { return cmp.Compare(b.Size, a.Size) })
	return out
}

// greyUnits turns grey values into units of what bone is brighter than tissue: tissue 0, bone 1.
type greyUnits struct{ tissue, bone float64 }

// greysOf returns a scan's units: the means of what is tissue and of what is bone by its histogram.
func greysOf(v *volume.Volume) greyUnits {
	h := newHistogram(v)
	air := split(h.count)
	bone := air + split(h.count[air:])
	mean := func(from, to int) float64 {
		sum, n := 0.0, 0.0
		for i := from; i < to; i++ {
			sum, n = sum+h.count[i]*float64(i), n+h.count[i]
		}
		return h.low + (h.high-h.low)*sum/max(1, n)/511
	}
	return greyUnits{mean(air, bone), mean(bone, len(h.count))}
}

func (u greyUnits) of(grey float64) float64 {
	return (grey - u.tissue) / max(1, u.bone-u.tissue)
}

// most returns the brightest of m about p: an old body's edge may bloom otherwise, or lie a little off. +Inf beyond the field:
// what was there before is not known.
func (u greyUnits) most(m *image, p r3.Vec) float64 {
	const about = 0.8 // mm
	out := math.Inf(-1)
	for _, d := range []r3.Vec{{}, {X: about}, {X: -about}, {Y: about}, {Y: -about}, {Z: about}, {Z: -about}} {
		g, _, ok := m.at(r3.Add(p, d))
		if !ok {
			return math.Inf(1)
		}
		out = max(out, u.of(g))
	}
	return out
}
