package align

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/phantom"
)

// The values of docs/alignment.md, worked out by hand: platform (0, 0, 0), axis (0, 0, −1), 10 mm long; placed
// (0.6, 0.8, −0.5), tilted by 5° toward +x.
func TestDeviationsOfTheWorkedExample(t *testing.T) {
	tilt := 5 * math.Pi / 180
	planned := Implant{Axis: r3.Vec{Z: -1}, Diameter: 4, Length: 10}
	placed := FoundImplant{Implant: Implant{Platform: r3.Vec{X: 0.6, Y: 0.8, Z: -0.5}, Axis: r3.Vec{X: math.Sin(tilt), Z: -math.Cos(tilt)}, Diameter: 4, Length: 10}}
	for _, t2 := range []Transform{Identity("a"), Rigid("a", "b", r3.Vec{X: 0.5, Y: -1, Z: 2}, r3.Vec{X: 30, Y: 4, Z: -9})} {
		moved := placed
		moved.Platform, moved.Axis = t2.Apply(placed.Platform), t2.Turn(placed.Axis)
		d, known := Deviate(planned, moved, t2, Sides{Mesial: r3.Vec{X: 1}, Buccal: r3.Vec{Y: 1}})
		require.Equal(t, t2.Spread != nil, known)
		for name, c := range map[string][2]float64{
			"coronal": {1.118034, d.Coronal.Value}, "depth": {0.5, d.Depth.Value}, "lateral": {1, d.LateralCoronal.Value},
			"apical": {1.737491, d.Apical.Value}, "angle": {5, d.Angle.Value}, "entry": {0.974382, d.Entry.Value},
			"mesial": {0.6, d.Mesial.Value}, "buccal": {0.8, d.Buccal.Value}, "mesial apical": {1.471557, d.MesialApical.Value}, "buccal apical": {0.8, d.BuccalApical.Value},
			"lateral apical": {math.Hypot(1.471557, 0.8), d.LateralApical.Value},
		} {
			require.InDelta(t, c[0], c[1], 1e-6, name)
		}
	}
	short := placed // another length: compared where both are
	short.Length = 8
	d, _ := Deviate(planned, short, Identity("a"), Sides{Mesial: r3.Vec{X: 1}, Buccal: r3.Vec{Y: 1}})
	require.Equal(t, 8.0, d.ApexAt)
	require.InDelta(t, r3.Norm(r3.Vec{X: 0.6 + 8*math.Sin(tilt), Y: 0.8, Z: -0.5 - 8*math.Cos(tilt) + 8}), d.Apical.Value, 1e-12)
}

// Each deviation's budget carries the alignment at its place and how well the implant is known, by hand at the platform:
// depth has the shift along z and what is known along the axis.
func TestDeviationsCarryTheAlignment(t *testing.T) {
	q := Identity("a")
	q.Spread = &Spread{}
	q.Spread.Cov[turnX+1][turnX+1] = 0.01 * 0.01
	q.Spread.Cov[shiftX+2][shiftX+2] = 0.03 * 0.03
	at := Implant{Platform: r3.Vec{X: 20}, Axis: r3.Vec{Z: -1}, Diameter: 4, Length: 10}
	found := FoundImplant{Implant: at, Along: 0.04, Across: 0.02, Lean: 0.3}
	found.Platform.Z = -0.1
	d, known := Deviate(at, found, q, Sides{Mesial: r3.Vec{X: 1}, Buccal: r3.Vec{Y: 1}})
	require.True(t, known)
	// a turn of 0.01 about y moves the point 20 mm away along x by 0.2 mm along z
	require.InDelta(t, math.Sqrt(0.2*0.2+0.03*0.03+0.04*0.04), d.Depth.Std(), 1e-3)
	require.InDelta(t, math.Hypot(0.01*180/math.Pi, 0.3), d.Angle.Std(), 0.3) // about x or y, which no angle tells
	require.InDelta(t, math.Hypot(0.02, 5*0.3*math.Pi/180), d.Buccal.Std(), 1e-3)
}

// implantScan draws one implant in a jaw, 28 mm about it, and returns its truth.
func implantScan(t *testing.T, seed uint64, voxel, blur, bloom, streaks, apex float64) (*phantom.Second, phantom.Placed, phantom.PlanSite) {
	t.Helper()
	o := phantom.Demo(phantom.Kind(seed % 2))
	o.Seed, o.Teeth = seed, []int{}
	o.Scan.Voxel, o.Scan.Size = [3]float64{voxel, voxel, voxel}, [3]int{}
	small, err := o.Small(map[phantom.Kind]int{phantom.Mandible: 36, phantom.Maxilla: 25}[o.Jaw], 28)
	require.NoError(t, err)
	j, err := phantom.New(small)
	require.NoError(t, err)
	site := j.Plan().Sites[0]
	p := j.Places(seed)[0]
	p.Apex = apex
	s, err := j.Again(phantom.Visit{Turn: r3.Vec{X: float64(seed%7) - 3, Y: 2, Z: float64(seed % 5)}, Implants: []phantom.Placed{p},
		Scan:      phantom.Scan{Voxel: [3]float64{voxel, voxel, voxel}, Size: small.Scan.Size, Blur: blur, Noise: 100, Seed: seed},
		Artefacts: phantom.Artefacts{Bloom: bloom, Streaks: streaks, Top: 3500}})
	require.NoError(t, err)
	return s, p, site
}

// Placed implants are found within 0.1 mm and 0.5° under blooming and streaks, in voxels of 0.3 and 0.4 mm, saturated;
// their U holds the error in nearly all. RIDGERULE_LONG draws 40, from RIDGERULE_SEED on.
func TestPlacedImplantsAreFound(t *testing.T) {
	n, from := uint64(2), uint64(20)
	if long() {
		n = 40
	}
	if s, err := strconv.ParseUint(os.Getenv("RIDGERULE_SEED"), 10, 64); err == nil {
		from = s
	}
	r := rand.New(rand.NewPCG(4, from))
	var axial, lateral, lean tallied
	bias, worst, most := 0.0, 0.0, 0.0
	for seed := from; seed < from+n; seed++ {
		voxel := []float64{0.4, 0.3}[seed/2%2]
		apex := []float64{0, 2.6}[seed/4%2]
		s, p, site := implantScan(t, seed, voxel, 0.2+0.15*r.Float64(), 0.3*r.Float64(), 100, apex)
		v, err := s.Volume(context.Background(), nil)
		require.NoError(t, err)
		near := Implant{Platform: s.Point(site.Platform), Axis: s.Direction(site.Implant), Diameter: p.Diameter, Apex: p.Apex, Length: p.Length}
		got, err := FindPlaced(v, near)
		require.NoError(t, err, "seed %d", seed)
		e, axis := r3.Sub(got.Platform, s.Point(p.Platform)), s.Direction(p.Axis)
		along, angle := r3.Dot(e, axis), math.Asin(r3.Norm(r3.Cross(got.Axis, axis)))*180/math.Pi
		t.Logf("seed %d voxel %g, %g × %g mm (bloom %.2f, ends %.2f): along %+.3f (u %.3f), across %.3f (u %.3f), lean %.2f° (u %.2f)",
			seed, voxel, p.Length, p.Diameter, got.Bloom, got.Ends, along, got.Along, r3.Norm(across(e, axis)), got.across(0), angle, got.Lean)
		require.Less(t, r3.Norm(e), 0.1)
		require.Less(t, angle, 0.5)
		bias, worst, most = bias+along/float64(n), max(worst, r3.Norm(e)), max(most, angle)
		axial.add(along, got.Along)
		u, w := frameOf(axis)
		for _, dir := range []r3.Vec{u, w} {
			lateral.add(r3.Dot(e, dir), got.across(0))
			lean.add(r3.Dot(got.Axis, dir)*180/math.Pi, got.Lean)
		}
	}
	t.Logf("depth bias %+.3f mm; farthest off %.3f mm, %.2f°; within U: along %v, across %v, lean %v", bias, worst, most, axial, lateral, lean)
	if n >= 40 {
		require.Less(t, math.Abs(bias), 0.02)
		for _, c := range []tallied{axial, lateral, lean} {
			require.GreaterOrEqual(t, c.held, 0.9*c.asked)
		}
	}
}

// An upright body in closed form, with another tissue about either end, in a scan that cuts off what is brighter than 3000: where
// it is does not depend on how bright it would be, on the tissues or on the blooming. Half-way between the grey that is
// shown and that outside, the coronal end of the second one would lie 0.06 mm farther out than its apical end.
func TestPlacedImplantBetweenTwoTissues(t *testing.T) {
	for _, c := range []struct{ metal, coronal, apical, bloom, blur float64 }{
		{3000, 500, 500, 0, 0.3}, {4500, 1500, 300, 0, 0.3}, {4500, 300, 1500, 0.2, 0.25}, {6000, 1500, 300, 0.3, 0.35}, {9000, 100, 1200, 0.1, 0.3},
	} {
		is := Implant{Platform: r3.Vec{X: 10.07, Y: 10.11, Z: 17.13}, Axis: r3.Vec{Z: -1}, Diameter: 4, Apex: 3.4, Length: 8}
		v := bodyVolume(t, is, c.bloom, c.blur, func(p r3.Vec) float64 {
			return c.apical + (c.coronal-c.apical)*normalShare((p.Z-13.1)/0.5)
		}, c.metal)
		near := is
		near.Platform = r3.Add(near.Platform, r3.Vec{X: 0.4, Y: -0.5, Z: 0.6})
		near.Axis = r3.Unit(r3.Vec{X: 0.06, Y: 0.03, Z: -1})
		got, err := FindPlaced(v, near)
		require.NoError(t, err)
		e := r3.Sub(got.Platform, is.Platform)
		t.Logf("%+v: off %+.4f mm, %.3f°, bloom %.3f, ends %.3f", c, e, math.Asin(r3.Norm(r3.Cross(got.Axis, is.Axis)))*180/math.Pi, got.Bloom, got.Ends)
		require.Less(t, r3.Norm(e), 0.01)
		require.Less(t, r3.Norm(r3.Cross(got.Axis, is.Axis)), 0.1*math.Pi/180)
		require.InDelta(t, c.bloom, got.Bloom, 0.04)
		require.InDelta(t, got.Bloom, got.Ends, 0.02)
	}
}

// An implant of another length or diameter than planned is found where it is, as far as its middle tells, with a caution and a U of its depth
// that holds half of the difference.
func TestPlacedImplantOfAnotherSize(t *testing.T) {
	is := Implant{Platform: r3.Vec{X: 10.07, Y: 10.11, Z: 17.13}, Axis: r3.Vec{Z: -1}, Diameter: 4, Apex: 3.4, Length: 8}
	v := bodyVolume(t, is, 0.1, 0.3, func(r3.Vec) float64 { return 600 }, 4500)
	for _, longer := range []float64{-2, 1.5, 2, 3} {
		near := is
		near.Length += longer
		near.Platform.Z += 0.3
		got, err := FindPlaced(v, near)
		require.NoError(t, err, "%+g mm", longer)
		middle := r3.Sub(got.at(near.Length/2), is.at(is.Length/2))
		t.Logf("%+g mm: middle off %.3f, ends %.2f, along u %.2f, %v", longer, r3.Norm(middle), got.Ends, got.Along, got.Cautions)
		require.Less(t, r3.Norm(middle), 0.03)
		require.InDelta(t, -longer/2, got.Ends-got.Bloom, 0.05)
		require.Less(t, math.Abs(longer)/2, 2*got.Along)
		require.Len(t, got.Cautions, 1)
	}
}

// bodyVolume draws one upright body, blurred in closed form, in voxels of 0.35 mm: its sides' edge moves inward by blur²/2r.
func bodyVolume(t *testing.T, is Implant, bloom, blur float64, outside func(r3.Vec) float64, metal float64) *volume.Volume {
	t.Helper()
	v, err := volume.New(volume.Grid{Size: [3]int{58, 58, 74}, Step: [3]r3.Vec{{X: 0.35}, {Y: 0.35}, {Z: 0.35}}})
	require.NoError(t, err)
	slope := (is.Apex - is.Diameter) / 2 / is.Length
	for at := range v.Stored {
		p := v.Patient(volume.Index{I: float64(at % 58), J: float64(at / 58 % 58), K: float64(at / 58 / 58)})
		q := r3.Sub(p, is.Platform)
		z := r3.Dot(q, is.Axis)
		r := is.Diameter/2 + slope*z + bloom
		side := (r3.Norm(across(q, is.Axis))-r)/math.Hypot(1, slope) + blur*blur/2/max(0.5, r)
		share := normalShare(-side/blur) * normalShare((z+bloom)/blur) * normalShare((is.Length+bloom-z)/blur)
		v.Stored[at] = int16(min(3000, metal*share+outside(p)*(1-share)))
	}
	return v
}

func (c tallied) String() string {
	return fmt.Sprintf("%.0f of %.0f (error %.3f RMS, u %.3f)", c.held, c.asked, math.Sqrt(c.square/c.asked), math.Sqrt(c.claimed/c.asked))
}

type tallied struct{ held, asked, square, claimed float64 }

func (c *tallied) add(e, u float64) {
	c.asked++
	c.square, c.claimed = c.square+e*e, c.claimed+u*u
	if math.Abs(e) <= 2*u {
		c.held++
	}
}

// Where nothing was placed none is found, nor one of another size, nor outside the field.
func TestNoPlacedImplant(t *testing.T) {
	s, p, _ := implantScan(t, 20, 0.5, 0.3, 0.2, 0, 0)
	v, err := s.Volume(context.Background(), nil)
	require.NoError(t, err)
	near := Implant{Platform: s.Point(p.Platform), Axis: s.Direction(p.Axis), Diameter: p.Diameter, Length: p.Length}
	for name, wrong := range map[string]Implant{
		"beside":  {Platform: r3.Add(near.Platform, r3.Vec{Y: 12}), Axis: near.Axis, Diameter: near.Diameter, Length: near.Length},
		"larger":  {Platform: near.Platform, Axis: near.Axis, Diameter: 9, Length: 25},
		"outside": {Platform: r3.Add(near.Platform, r3.Vec{Z: 200}), Axis: near.Axis, Diameter: 4, Length: 10},
	} {
		_, err := FindPlaced(v, wrong)
		require.ErrorIs(t, err, ErrNoImplant, name)
	}
}
