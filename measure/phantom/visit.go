package phantom

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Visit is what is different when the same patient is scanned again: how the jaw lies, the scan, and what has become of
// the bone. The zero Visit is the same jaw, in the same place, in a scan of 0.2 mm.
type Visit struct {
	Turn      r3.Vec    // how the jaw is turned against the first scan, about the first scan's middle: axis times angle in degrees
	Shift     r3.Vec    // how far that middle has moved, mm
	Size      float64   // how much too long lengths are written, relative: 0.004 is 0.4 %
	Scan      Scan      // grid, blur and noise; Turn and Gantry are not used, Centre is a point of the first scan's frame
	Artefacts Artefacts // of the second scan
	Gain      float64   // grey values are multiplied by this; 0 means 1
	Offset    float64   // and raised by this
	Changes   []Change  // of the bone
	Implants  []Placed  // what was placed meanwhile
}

// Change is bone lost, or gained where its numbers are negative, about the middle of a tooth's place: most there and
// none 6 mm along the arch.
type Change struct {
	Tooth  int     // ISO 3950
	Crest  float64 // by how much the crest is lower, mm
	Narrow float64 // by which share the ridge is narrower
}

// Placed is an implant as it stands in the bone: a flat-ended cylinder, or a cone.
type Placed struct {
	Tooth    int     // ISO 3950
	Platform r3.Vec  // centre of its coronal end; patient of the first scan, mm
	Axis     r3.Vec  // unit, to the apex
	Diameter float64 // at the platform, mm
	Apex     float64 // diameter at the apex, mm; 0 means that of the platform
	Length   float64 // mm
}

// Second is a jaw scanned again. Its own frame of reference is that of the first scan, in which its truth is given
// ([Jaw.Truth]); what is written is moved ([Second.Point]).
type Second struct {
	*Jaw
	visit  Visit
	middle r3.Vec // of the motion, mm
}

// Again returns the jaw at another visit, or an error wrapping [ErrOptions].
func (j *Jaw) Again(v Visit) (*Second, error) {
	if !(v.Size > -0.1 && v.Size < 0.1) {
		return nil, fmt.Errorf("%w: Visit.Size is %g, must lie between -0.1 and 0.1", ErrOptions, v.Size)
	}
	if v.Gain == 0 {
		v.Gain = 1
	}
	o := j.opt
	middle := *o.Scan.Centre
	v.Scan = v.Scan.withDefaults()
	o.Scan, o.Artefacts = v.Scan, v.Artefacts
	if o.Scan.Centre == nil {
		o.Scan.Centre = &middle
	}
	o.Scan.Turn, o.Scan.Gantry = r3.Scale(-1, v.Turn), 0
	for i := range o.Scan.Voxel {
		o.Scan.Voxel[i] /= 1 + v.Size
	}
	for _, g := range []*float64{&o.Grey.Air, &o.Grey.Fat, &o.Grey.Soft, &o.Grey.Marrow, &o.Grey.Cortex, &o.Grey.Dentine, &o.Grey.Enamel, &o.Grey.Metal} {
		*g = v.Gain**g + v.Offset
	}
	o.Grey.Texture *= v.Gain
	o.Changes = slices.Concat(o.Changes, v.Changes)
	o.Implants = slices.Concat(o.Implants, v.Implants)
	again, err := New(o)
	if err != nil {
		return nil, err
	}
	return &Second{Jaw: again, visit: v, middle: middle}, nil
}

// Point returns where the second scan has the point p of the first scan's frame, mm:
//
//	q = middle + Shift + (1 + Size)·R·(p − middle)
func (s *Second) Point(p r3.Vec) r3.Vec {
	d := s.Direction(r3.Sub(p, s.middle))
	return r3.Add(r3.Add(s.middle, s.visit.Shift), r3.Scale(1+s.visit.Size, d))
}

// Direction returns direction d of the first scan's frame in the second's, R·d.
func (s *Second) Direction(d r3.Vec) r3.Vec {
	if angle := r3.Norm(s.visit.Turn); angle > 0 {
		return r3.NewRotation(angle*math.Pi/180, s.visit.Turn).Rotate(d)
	}
	return d
}

// Volume is [Jaw.Volume] as the second scan is written: the jaw is drawn on a grid that is turned the other way, and the
// grid is then written as if it lay along the axes. That is what a patient looks like who lies otherwise, and no value
// was interpolated for it.
func (s *Second) Volume(ctx context.Context, progress func(done float64)) (*volume.Volume, error) {
	v, err := s.Jaw.Volume(ctx, progress)
	if err != nil {
		return nil, err
	}
	v.Grid = s.Written()
	return v, nil
}

// Written returns the grid of [Second.Volume], along the axes.
func (s *Second) Written() volume.Grid {
	h := s.visit.Scan.Voxel
	g := volume.Grid{Size: s.opt.Scan.Size, Step: [3]r3.Vec{{X: h[0]}, {Y: h[1]}, {Z: h[2]}}}
	half := r3.Vec{X: float64(g.Size[0]-1) / 2 * h[0], Y: float64(g.Size[1]-1) / 2 * h[1], Z: float64(g.Size[2]-1) / 2 * h[2]}
	g.Origin = r3.Sub(s.Point(*s.opt.Scan.Centre), half)
	return g
}

// body is a flat-ended cone as the picture has it: the jaw's own frame, mm.
type body struct {
	top, axis         r3.Vec
	radius, end, long float64
}

// drawImplants sets the implants of the options.
func (h *shape) drawImplants(o Options) {
	for _, p := range o.Implants {
		b := body{p.Platform, r3.Unit(p.Axis), p.Diameter / 2, p.Apex / 2, p.Length}
		if b.end == 0 {
			b.end = b.radius
		}
		if o.Jaw == Maxilla {
			b.top.Z, b.axis.Z = -b.top.Z, -b.axis.Z
		}
		h.bodies = append(h.bodies, b)
	}
	h.bloom = o.Artefacts.Bloom
}

// distance returns the signed distance from p to the body, mm, negative inside, and the curvature of its side, 1/mm. In
// the half plane through axis and point the body is a trapezium with three free sides.
func (b body) distance(p r3.Vec) (d, bend float64) {
	q := r3.Sub(p, b.top)
	x := r3.Dot(q, b.axis)
	y := r3.Norm(r3.Sub(q, r3.Scale(x, b.axis)))
	slope := (b.end - b.radius) / b.long
	side := toSegment(x, y, 0, b.radius, b.long, b.end)
	d = min(side, toSegment(x, y, 0, 0, 0, b.radius), toSegment(x, y, b.long, 0, b.long, b.end))
	if d == side {
		bend = 1 / max(0.3, (b.radius+b.end)/2)
	}
	if x > 0 && x < b.long && y < b.radius+slope*x {
		d = -d
	}
	return d, bend
}

// toSegment is the distance from (x, y) to the segment from (ax, ay) to (bx, by), mm.
func toSegment(x, y, ax, ay, bx, by float64) float64 {
	dx, dy := bx-ax, by-ay
	t := max(0, min(1, ((x-ax)*dx+(y-ay)*dy)/(dx*dx+dy*dy)))
	return math.Hypot(x-ax-t*dx, y-ay-t*dy)
}

// metal is the distance to all that is metal, mm, with the curvature there; limit and 0 where none is nearer.
func (h *shape) metal(p r3.Vec, limit float64) (d, bend float64) {
	d, bend = within(h.metals, p, limit)
	for _, b := range h.bodies {
		if e, k := b.distance(p); e-h.bloom < d {
			d, bend = e-h.bloom, k
		}
	}
	return d, bend
}

// Places returns the planned implants as a hand would place them: off the plan by some tenths of a millimetre and some
// degrees, the same for the same seed. Our choice, of the size that is published for guided placement (common practice).
func (j *Jaw) Places(seed uint64) []Placed {
	const off, lean = 0.4, 2.0 // SD of each coordinate, mm, and of the tilt about each axis, deg
	r := rand.New(rand.NewPCG(seed, 0x9fac))
	var out []Placed
	for _, s := range j.plan.Sites {
		any := func(size float64) r3.Vec {
			return r3.Vec{X: size * r.NormFloat64(), Y: size * r.NormFloat64(), Z: size * r.NormFloat64()}
		}
		p := Placed{Tooth: s.Tooth, Platform: r3.Add(s.Platform, any(off)), Axis: s.Implant, Diameter: s.Diameter, Length: s.Length}
		turn := any(lean * math.Pi / 180)
		p.Axis = r3.Unit(r3.NewRotation(r3.Norm(turn), turn).Rotate(p.Axis))
		out = append(out, p)
	}
	return out
}

// SecondTruth is what is true of a second scan; it is written as second.json.
type SecondTruth struct {
	Rotation    [3][3]float64 `json:"rotation"`       // of the first scan's frame into the second's, row by row
	Translation [3]float64    `json:"translation_mm"` // second = rotation·first·(1 + size) + translation
	Size        float64       `json:"size"`           // relative
	Implants    []PlacedTrue  `json:"implants,omitempty"`
	Sites       []SiteTruth   `json:"sites"` // in the first scan's frame and the first plan's sections, after the change
}

// PlacedTrue is an implant that stands in the second scan, in the second scan's frame as written.
type PlacedTrue struct {
	Tooth    int        `json:"tooth"`
	Platform [3]float64 `json:"platform_mm"`
	Axis     [3]float64 `json:"axis"`
	Diameter float64    `json:"diameter_mm"`
	Length   float64    `json:"length_mm"`
}

// SecondTruth returns what is true of the second scan, or an error wrapping [ErrNoChord] as [Jaw.Truth] does.
func (s *Second) SecondTruth() (SecondTruth, error) {
	sites, err := s.Truth()
	if err != nil {
		return SecondTruth{}, err
	}
	three := func(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
	t := SecondTruth{Size: s.visit.Size, Sites: sites.Sites, Translation: three(s.Point(r3.Vec{}))}
	for i, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		for row, x := range three(s.Direction(e)) {
			t.Rotation[row][i] = x
		}
	}
	for _, p := range s.opt.Implants { // those of before, and those placed meanwhile
		t.Implants = append(t.Implants, PlacedTrue{p.Tooth, three(s.Point(p.Platform)), three(s.Direction(p.Axis)), p.Diameter * (1 + s.visit.Size), p.Length * (1 + s.visit.Size)})
	}
	return t, nil
}

// Write writes the truth as JSON: lengths in mm.
func (t SecondTruth) Write(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(t)
}
