package align

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

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

// Placed implants are found within 0.1 mm and 0.5° under blooming and streaks, in voxels of 0.3 and 0.4 mm; their U holds
// the error in nearly all; RIDGERULE_LONG draws 40.
func TestPlacedImplantsAreFound(t *testing.T) {
	n := uint64(1)
	if long() {
		n = 40
	}
	r := rand.New(rand.NewPCG(4, 4))
	var axial, lateral, lean tallied
	for seed := range n {
		voxel := []float64{0.4, 0.3}[seed%2]
		bloom := []float64{0.3, 0, 0.15}[seed%3]
		apex := []float64{0, 2.6}[seed/2%2]
		s, p, site := implantScan(t, seed+20, voxel, 0.2+0.15*r.Float64(), bloom, 100, apex)
		v, err := s.Volume(context.Background(), nil)
		require.NoError(t, err)
		near := Implant{Platform: s.Point(site.Platform), Axis: s.Direction(site.Implant), Diameter: p.Diameter, Apex: p.Apex, Length: p.Length}
		got, err := FindPlaced(v, near)
		require.NoError(t, err, "seed %d", seed)
		e := r3.Sub(got.Platform, s.Point(p.Platform))
		axis := s.Direction(p.Axis)
		along, angle := r3.Dot(e, axis), math.Asin(r3.Norm(r3.Cross(got.Axis, axis)))*180/math.Pi
		side := r3.Norm(across(e, axis))
		t.Logf("seed %d voxel %g bloom %.2f (found %.2f, ends %.2f): along %+.3f (u %.3f), across %.3f (u %.3f), lean %.2f° (u %.2f)", seed, voxel, bloom, got.Bloom, got.Ends, along, got.Along, side, got.across(0), angle, got.Lean)
		require.Less(t, r3.Norm(e), 0.1)
		require.Less(t, angle, 0.5)
		axial.add(along, got.Along)
		lateral.add(side/math.Sqrt2, got.across(0))
		lean.add(angle/math.Sqrt2, got.Lean)
	}
	t.Logf("within U: along %v, across %v, lean %v", axial, lateral, lean)
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
