package phantom

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// secondOf returns a small mandible and the same at another visit.
func secondOf(t *testing.T, v Visit) (*Jaw, *Second) {
	t.Helper()
	o := Demo(Mandible)
	o.Teeth, o.Scan.Noise, o.Grey.Texture = []int{}, 0, 0
	o.Scan.Voxel = [3]float64{0.5, 0.5, 0.5}
	o.Scan.Size = [3]int{}
	small, err := o.Small(36, 24)
	require.NoError(t, err)
	j, err := New(small)
	require.NoError(t, err)
	if v.Scan.Size == ([3]int{}) {
		v.Scan.Size = [3]int{40, 40, 40}
	}
	s, err := j.Again(v)
	require.NoError(t, err)
	return j, s
}

// What the second scan shows at a moved point is what the shape has at the point itself: both scans have the same blur,
// so that inside it the two agree but for interpolation, up to half a voxel's share of an edge of 1,550.
func TestSecondScanShowsTheMovedJaw(t *testing.T) {
	v := Visit{Turn: r3.Vec{X: 6, Y: -3, Z: 9}, Shift: r3.Vec{X: 3, Y: -4, Z: 2}, Size: 0.01, Scan: Scan{Voxel: [3]float64{0.3, 0.3, 0.3}, Blur: 0.5, Size: [3]int{60, 60, 60}}}
	j, s := secondOf(t, v)
	vol, err := s.Volume(context.Background(), nil)
	require.NoError(t, err)
	require.Equal(t, [3]r3.Vec{{X: 0.3}, {Y: 0.3}, {Z: 0.3}}, vol.Step, "written along the axes")
	o := j.opt
	o.Scan.Voxel, o.Scan.Size, o.Scan.Blur = [3]float64{0.3, 0.3, 0.3}, [3]int{90, 90, 90}, 0.5
	fine, err := New(o)
	require.NoError(t, err)
	first, err := fine.Volume(context.Background(), nil)
	require.NoError(t, err)
	seen, sum, still := 0, 0.0, 0.0
	for n := range 9 * 9 * 9 {
		p := r3.Add(*o.Scan.Centre, r3.Vec{X: float64(n%9) - 4, Y: float64(n/9%9) - 4, Z: float64(n/81) - 4})
		want := first.At(p)
		if got := vol.At(s.Point(p)); got == got {
			seen++
			sum += math.Abs(got - want)
			if there := vol.At(p); there == there {
				still += math.Abs(there - want)
			}
		}
	}
	require.Greater(t, seen, 600)
	require.Less(t, sum/float64(seen), 15.0)
	require.Greater(t, still, 10*sum, "the points without the motion are other points")
}

// The middle moves by the shift; a length is written longer by the size.
func TestSecondPoint(t *testing.T) {
	j, s := secondOf(t, Visit{Turn: r3.Vec{Z: 90}, Shift: r3.Vec{X: 1, Y: 2, Z: 3}, Size: 0.004})
	c := *j.opt.Scan.Centre
	require.InDelta(t, 0, r3.Norm(r3.Sub(s.Point(c), r3.Add(c, r3.Vec{X: 1, Y: 2, Z: 3}))), 1e-12)
	require.InDelta(t, 0, r3.Norm(r3.Sub(s.Point(r3.Add(c, r3.Vec{X: 10})), r3.Add(c, r3.Vec{X: 1, Y: 2 + 10.04, Z: 3}))), 1e-12)
	g := s.Written()
	middle := g.Patient(volume.Index{I: float64(g.Size[0]-1) / 2, J: float64(g.Size[1]-1) / 2, K: float64(g.Size[2]-1) / 2})
	require.InDelta(t, 0, r3.Norm(r3.Sub(middle, s.Point(c))), 1e-9)
	_, err := j.Again(Visit{Size: 0.5})
	require.ErrorIs(t, err, ErrOptions)
	_, err = j.Again(Visit{Changes: []Change{{Tooth: 11}}})
	require.ErrorIs(t, err, ErrOptions)
	_, err = j.Again(Visit{Implants: []Placed{{Tooth: 36, Axis: r3.Vec{Z: -1}, Diameter: 4}}})
	require.ErrorIs(t, err, ErrOptions)
}

// Bone lost at a site is lost from its true height, in the middle whole and 6 mm on not at all; the canal stays. Heights
// are found on the shape to 0.001 mm; the axis that the ridge defines turns a little with the narrowing.
func TestLostBoneIsLostFromTheTruth(t *testing.T) {
	o := Options{Sites: []int{36}, Teeth: []int{}}
	j, err := New(o)
	require.NoError(t, err)
	s, err := j.Again(Visit{Changes: []Change{{Tooth: 36, Crest: 1.25}}})
	require.NoError(t, err)
	before, err := j.Truth()
	require.NoError(t, err)
	after, err := s.Truth()
	require.NoError(t, err)
	require.Equal(t, before.Sites[0].Section, after.Sites[0].Section)
	require.InDelta(t, before.Sites[0].Occlusal.Heights[0].Height-1.25, after.Sites[0].Occlusal.Heights[0].Height, 0.03) // knots blend the saddle
	require.Equal(t, j.Plan().Structures, s.Plan().Structures)
}

// A cylinder's distance by hand: beside, above, at an edge, within; a cone's side leans.
func TestBodyDistance(t *testing.T) {
	b := body{top: r3.Vec{Z: 1}, axis: r3.Vec{Z: -1}, radius: 2, end: 2, long: 10}
	for _, c := range []struct {
		p    r3.Vec
		want float64
	}{{r3.Vec{X: 5, Z: -3}, 3}, {r3.Vec{Z: 3}, 2}, {r3.Vec{X: 5, Z: 5}, 5}, {r3.Vec{Y: 1.5, Z: -4}, -0.5}, {r3.Vec{Z: -8.5}, -0.5}} {
		d, _ := b.distance(c.p)
		require.InDelta(t, c.want, d, 1e-12, "%v", c.p)
	}
	b.end = 1
	d, _ := b.distance(r3.Vec{X: 3.5, Z: -4}) // half-way down its side lies at 1.5
	require.InDelta(t, 2*math.Cos(math.Atan(0.1)), d, 1e-12)
}

// An implant is drawn where it stands, grown by its bloom, and written no brighter than the top.
func TestImplantIsDrawnWhereItStands(t *testing.T) {
	j, _ := secondOf(t, Visit{})
	site := j.Plan().Sites[0]
	p := Placed{Tooth: 36, Platform: site.Platform, Axis: site.Implant, Diameter: 4, Length: 8}
	for _, bloom := range []float64{0, 0.4} {
		_, s := secondOf(t, Visit{Scan: Scan{Voxel: [3]float64{0.3, 0.3, 0.3}, Size: [3]int{70, 70, 70}}, Implants: []Placed{p}, Artefacts: Artefacts{Bloom: bloom, Top: 3500}})
		v, err := s.Volume(context.Background(), nil)
		require.NoError(t, err)
		mid := r3.Add(p.Platform, r3.Scale(4, p.Axis))
		require.InDelta(t, 3500, v.At(mid), 1)
		side := r3.Unit(r3.Cross(p.Axis, r3.Vec{Y: 1}))
		far := 0.0
		for r := 0.0; r < 5; r += 0.02 {
			if v.At(r3.Add(mid, r3.Scale(r, side))) > 2500 { // half-way between bone of some 500 and metal of 4,500
				far = r
			}
		}
		require.InDelta(t, 2+bloom, far, 0.08)
	}
}

// The truth that is written says what [Second.Point] does; implants are told where the second scan shows them.
func TestSecondTruth(t *testing.T) {
	j, _ := secondOf(t, Visit{})
	placed := j.Places(3)
	require.Equal(t, placed, j.Places(3))
	require.NotEqual(t, placed[0].Platform, j.Plan().Sites[0].Platform)
	_, s := secondOf(t, Visit{Turn: r3.Vec{X: 20, Z: 30}, Shift: r3.Vec{Y: 4}, Size: 0.01, Implants: placed})
	got, err := s.SecondTruth()
	require.NoError(t, err)
	p := r3.Vec{X: 11, Y: -7, Z: 3}
	want := s.Point(p)
	for row, x := range []float64{want.X, want.Y, want.Z} {
		r := got.Rotation[row]
		require.InDelta(t, x, 1.01*(r[0]*p.X+r[1]*p.Y+r[2]*p.Z)+got.Translation[row], 1e-9)
	}
	require.InDelta(t, s.Point(placed[0].Platform).X, got.Implants[0].Platform[0], 1e-12)
	require.Len(t, got.Sites, 1)
}
