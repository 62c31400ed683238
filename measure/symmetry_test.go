package measure_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
)

// How far two measurements of one and the same patient may lie apart: what is left of rounding,
// some 1e-9 mm, after a fit whose steps end at a share of a standard uncertainty.
const (
	exactly  = 1e-6                        // mm
	exactDeg = exactly / 7 * 180 / math.Pi // an axis found over the 7 mm from 1 to 8 mm below the crest
	exactU   = 1e-5                        // of U, besides exactly: a plate hardly seen has a U that rounding moves
	exactRGV = 1e-2                        // relative grey values are interpolated in float32
)

// jaw is a patient of these tests; base is what is measured as it lies.
type jaw struct {
	v    *volume.Volume
	plan *plan.Plan
	base *measure.Result
}

// symmetryVoxel is coarse to be quick, and makes ties of the kind a rounding breaks: an opening of the
// coarse pass that is exactly one pixel.
const symmetryVoxel = 0.4

// jaws are a mandible with its canal and a maxilla with its sinus.
var jaws = sync.OnceValues(func() (out [2]jaw, err error) {
	for kind, teeth := range [2][2]int{{36, 35}, {26, 25}} {
		o := phantom.Demo(phantom.Kind(kind))
		o.Teeth = teeth[1:]
		o.Scan.Voxel = [3]float64{symmetryVoxel, symmetryVoxel, symmetryVoxel}
		o.Scan.Blur = 0.3
		if out[kind].v, out[kind].plan, err = imaged(o, teeth[0], 20); err != nil {
			return out, err
		}
		if out[kind].base, err = measure.RunPlan(context.Background(), out[kind].v, out[kind].plan, measure.Scan{}, measure.Options{}); err != nil {
			return out, err
		}
	}
	return out, nil
})

// imaged returns the scan and the plan of a cube of edge mm about one tooth of the jaw.
func imaged(o phantom.Options, tooth int, edge float64) (*volume.Volume, *plan.Plan, error) {
	small, err := o.Small(tooth, edge)
	if err != nil {
		return nil, nil, err
	}
	made, err := phantom.New(small)
	if err != nil {
		return nil, nil, err
	}
	v, err := made.Volume(context.Background(), nil)
	if err != nil {
		return nil, nil, err
	}
	var text bytes.Buffer
	if err := made.Plan().Write(&text); err != nil {
		return nil, nil, err
	}
	p, _, err := plan.Read("plan.yaml", text.Bytes(), nil)
	return v, p, err
}

// drawn is a few draws, or as many as -rapid.checks asks for: each measures a whole site.
func drawn(t *testing.T, few int, property func(*rapid.T)) {
	checks := flag.Lookup("rapid.checks")
	if checks.Value.String() == checks.DefValue {
		if testing.Short() {
			few = (few + 2) / 3
		}
		require.NoError(t, checks.Value.Set(strconv.Itoa(few)))
		defer func() { _ = checks.Value.Set(checks.DefValue) }()
	}
	rapid.Check(t, property)
}

// motion takes a patient to another place: a mirror (x → −x) or none, a rotation, a shift.
type motion struct {
	mirror bool
	turn   r3.Rotation
	shift  r3.Vec
}

func (m motion) dir(d r3.Vec) r3.Vec {
	if m.mirror {
		d.X = -d.X
	}
	return m.turn.Rotate(d)
}

func (m motion) point(p r3.Vec) r3.Vec { return r3.Add(m.dir(p), m.shift) }

// volume moves the grid; the voxels stay as they are stored.
func (m motion) volume(v *volume.Volume) *volume.Volume {
	moved := *v
	moved.Origin = m.point(v.Origin)
	for i := range moved.Step {
		moved.Step[i] = m.dir(v.Step[i])
	}
	return &moved
}

func (m motion) points(ps []r3.Vec) []r3.Vec {
	moved := make([]r3.Vec, len(ps))
	for i, p := range ps {
		moved[i] = m.point(p)
	}
	return moved
}

// plan moves everything the phantom's plans hold; in the mirror right is called left.
func (m motion) plan(p *plan.Plan) *plan.Plan {
	moved := *p
	up := r3.Vec{Z: 1}
	if p.Jaw == measure.Maxilla {
		up.Z = -1
	}
	moved.OcclusalGiven, moved.Arch = m.dir(up), m.points(p.Arch)
	moved.Sites = append([]plan.Site{}, p.Sites...)
	for i := range moved.Sites {
		s := &moved.Sites[i]
		at, implant := m.point(*s.At), *s.Implant
		platform, axis := m.point(*implant.Platform), m.dir(*implant.Axis)
		implant.Platform, implant.Axis = &platform, &axis
		s.At, s.Implant = &at, &implant
		s.ID, s.Tooth = m.name(s.ID), m.name(s.Tooth)
	}
	moved.Structures = append([]measure.Structure{}, p.Structures...)
	for i := range moved.Structures {
		st := &moved.Structures[i]
		st.Name, st.Path = m.name(st.Name), m.points(st.Path)
	}
	return &moved
}

// inMirror swaps the sides of the patient in names: quadrants of ISO 3950, left and right.
var inMirror = strings.NewReplacer("left", "right", "right", "left",
	"25", "15", "26", "16", "35", "45", "36", "46")

func (m motion) name(s string) string {
	if m.mirror {
		return inMirror.Replace(s)
	}
	return s
}

func drawnShift(t *rapid.T) r3.Vec {
	mm := rapid.Float64Range(-200, 200)
	return r3.Vec{X: mm.Draw(t, "x"), Y: mm.Draw(t, "y"), Z: mm.Draw(t, "z")}
}

func drawnTurn(t *rapid.T) r3.Rotation {
	axis := r3.Vec{Z: 1}
	if rapid.Bool().Draw(t, "about any axis") {
		part := rapid.Float64Range(-1, 1)
		axis = r3.Vec{X: part.Draw(t, "ax"), Y: part.Draw(t, "ay"), Z: part.Draw(t, "az")}
		if r3.Norm(axis) < 0.1 {
			axis = r3.Vec{X: 1}
		}
	}
	angle := math.Pi / 2 * float64(rapid.IntRange(0, 3).Draw(t, "quarters"))
	if rapid.Bool().Draw(t, "by any angle") {
		angle = rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "angle")
	}
	return r3.NewRotation(angle, r3.Unit(axis))
}

// storedAs returns the same voxels in the same places, stored with axis order[a] of v as its axis a,
// backward where back says so.
func storedAs(v *volume.Volume, order []int, back []bool) *volume.Volume {
	w := *v
	for a, from := range order {
		w.Size[a], w.Step[a] = v.Size[from], v.Step[from]
		if back[a] {
			w.Origin = r3.Add(w.Origin, r3.Scale(float64(w.Size[a]-1), w.Step[a]))
			w.Step[a] = r3.Scale(-1, w.Step[a])
		}
	}
	w.Stored = make([]int16, len(v.Stored))
	for n := range w.Stored {
		at := [3]int{n % w.Size[0], n / w.Size[0] % w.Size[1], n / w.Size[0] / w.Size[1]}
		var was [3]int
		for a, from := range order {
			was[from] = at[a]
			if back[a] {
				was[from] = w.Size[a] - 1 - at[a]
			}
		}
		w.Stored[n] = v.Stored[(was[2]*v.Size[1]+was[1])*v.Size[0]+was[0]]
	}
	return &w
}

// Wherever the patient lies, whichever way round, in the mirror or not: the same numbers, the same
// uncertainties, the same words. In the mirror tooth 36 is tooth 46 and buccal is still outward.
func TestMeasuresMoveWithThePatient(t *testing.T) {
	both, err := jaws()
	require.NoError(t, err)
	for kind, j := range both {
		drawn(t, 6, func(t *rapid.T) {
			m := motion{rapid.Bool().Draw(t, "mirror"), drawnTurn(t), drawnShift(t)}
			moved, err := measure.RunPlan(context.Background(), m.volume(j.v), m.plan(j.plan), measure.Scan{}, measure.Options{})
			if err != nil {
				t.Fatal(err)
			}
			same(t, phantom.Kind(kind).String(), j.base, moved, m)
		})
	}
}

// same holds a moved patient's only site against the same one before.
func same(t *rapid.T, jaw string, want, got *measure.Result, m motion) {
	a, b := want.Sites[0], got.Sites[0]
	held, said := onItsHead(got)
	if b.ID != m.name(a.ID) || b.Tooth != m.name(a.Tooth) || said(b.Note) != m.name(a.Note) || b.Err != a.Err || b.Verdict != held(a.Verdict) || len(b.Rows) != len(a.Rows) {
		t.Fatalf("%s: site %s %q %q %v, %d rows, was %s %q %q %v, %d rows", jaw, b.ID, b.Note, b.Err, b.Verdict, len(b.Rows), a.ID, a.Note, a.Err, a.Verdict, len(a.Rows))
	}
	for name, d := range map[string][2]r3.Vec{
		"site": {m.point(a.Frame.Origin), b.Frame.Origin}, "buccal": {m.dir(a.Frame.U), b.Frame.U},
		"coronal": {m.dir(a.Frame.V), b.Frame.V}, "along": {m.dir(a.Frame.T), b.Frame.T},
		"crest": {m.point(a.Frame.Patient(a.Crest)), b.Frame.Patient(b.Crest)},
	} {
		if off := r3.Norm(r3.Sub(d[0], d[1])); !(off <= exactly) {
			t.Errorf("%s: %s %v, want %v", jaw, name, d[1], d[0])
		}
	}
	for i, r := range b.Rows {
		was := a.Rows[i]
		if r.Quantity != was.Quantity || r.To != m.name(was.To) || said(r.Note) != m.name(was.Note) || r.Verdict != held(was.Verdict) || r.Unit != was.Unit || (r.Value == nil) != (was.Value == nil) {
			t.Errorf("%s: row %q to %q: %q %v; was %q to %q: %q %v", jaw, r.Quantity, r.To, r.Note, r.Verdict, was.Quantity, was.To, was.Note, was.Verdict)
			continue
		}
		for name, x := range numbers(was, r) {
			if !(math.Abs(x[1]-x[0]) <= x[2]) {
				t.Errorf("%s: %s to %q: %s is %.9f, was %.9f", jaw, r.Quantity, r.To, name, x[1], x[0])
			}
		}
	}
}

// onItsHead says what becomes of a verdict and takes out of a note what a jaw scanned upside down adds.
func onItsHead(r *measure.Result) (held func(measure.Verdict) measure.Verdict, said func(string) string) {
	i := slices.IndexFunc(r.Cautions, func(c measure.Caution) bool { return c.Code == "occlusal_sign" })
	if i < 0 {
		return func(v measure.Verdict) measure.Verdict { return v }, func(s string) string { return s }
	}
	held = func(v measure.Verdict) measure.Verdict {
		if v == measure.Held {
			return measure.Uncertain
		}
		return v
	}
	text := r.Cautions[i].Text
	return held, func(s string) string {
		return strings.Trim(strings.Replace(strings.Replace(s, "; "+text, "", 1), text, "", 1), "; ")
	}
}

// However the voxels are stored, along which axis first and from which end: the same patient.
func TestMeasuresDoNotKnowHowVoxelsAreStored(t *testing.T) {
	both, err := jaws()
	require.NoError(t, err)
	for kind, j := range both {
		drawn(t, 6, func(t *rapid.T) {
			order := rapid.Permutation([]int{0, 1, 2}).Draw(t, "order")
			back := rapid.SliceOfN(rapid.Bool(), 3, 3).Draw(t, "back")
			again, err := measure.RunPlan(context.Background(), storedAs(j.v, order, back), j.plan, measure.Scan{}, measure.Options{})
			if err != nil {
				t.Fatal(err)
			}
			same(t, phantom.Kind(kind).String(), j.base, again, motion{turn: r3.NewRotation(0, r3.Vec{Z: 1})})
		})
	}
}

// Grey values have no unit: stretched from 10⁻³ to 10³ times, and shifted by up to ten times their range, they
// say the same in every row but those of the grey values themselves, which are stretched and shifted along.
func TestGreyValuesHaveNoUnit(t *testing.T) {
	both, err := jaws()
	require.NoError(t, err)
	for kind, j := range both {
		for _, grey := range []volume.Rescale{{Slope: 1e-3}, {Slope: 1e3}, {Slope: 1, Intercept: 25000}, {Slope: 1e-3, Intercept: -25}, {Slope: 37, Intercept: 1e5}} {
			v := *j.v
			v.Rescale = []volume.Rescale{grey}
			got, err := measure.RunPlan(context.Background(), &v, j.plan, measure.Scan{}, measure.Options{})
			require.NoError(t, err)
			sameBesideGrey(t, fmt.Sprintf("%v, grey values × %g + %g", phantom.Kind(kind), grey.Slope, grey.Intercept), grey, j.base.Sites[0], got.Sites[0])
		}
	}
}

// roundedGrey is how much U and values may move where grey values are rounded elsewhere, mm: they are
// resampled in float32, whose last bit is 2⁻²⁴ of ten times their range, a thousandth of the noise; an edge
// moves by as much of its own noise.
const roundedGrey = 2e-4

func sameBesideGrey(t *testing.T, name string, grey volume.Rescale, a, b measure.SiteResult) {
	require.Equal(t, [3]any{a.Err, a.Verdict, len(a.Rows)}, [3]any{b.Err, b.Verdict, len(b.Rows)}, name)
	for i, r := range b.Rows {
		was := a.Rows[i]
		require.Equal(t, [4]any{was.Quantity, was.To, was.Note, was.Verdict}, [4]any{r.Quantity, r.To, r.Note, r.Verdict}, name)
		require.Equal(t, was.Value == nil, r.Value == nil, "%s: %s: %s", name, r.Quantity, r.Note)
		if was.Value == nil {
			continue
		}
		want, off := *was.Value, roundedGrey
		switch {
		case r.Unit == "1":
			if want *= grey.Slope; r.Quantity != "grey_sd" {
				want += grey.Intercept
			}
			off *= 1000 * grey.Slope
		case r.Unit == "deg":
			off *= 180 / math.Pi / 7 // over the 7 mm that an axis is found on
		}
		require.InDelta(t, want, *r.Value, off, "%s: %s", name, r.Quantity)
		require.InDelta(t, was.Budget.U(), r.Budget.U(), off+0.002*was.Budget.U(), "%s: U of %s", name, r.Quantity)
	}
}

// numbers pairs what two rows say, with how far apart it may lie.
func numbers(a, b measure.Row) map[string][3]float64 {
	out := map[string][3]float64{}
	tol := map[string]float64{"mm": exactly, "deg": exactDeg, "1": exactRGV}[a.Unit]
	if a.Value != nil {
		out["value"] = [3]float64{*a.Value, *b.Value, tol}
		u := a.Budget.U()
		out["U"] = [3]float64{u, b.Budget.U(), tol + exactU*u}
	}
	if a.At != nil && b.At != nil {
		out["at"] = [3]float64{*a.At, *b.At, exactly}
	}
	return out
}
