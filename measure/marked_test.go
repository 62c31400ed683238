package measure_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
)

// lowerSite is the left lower quadrant of an invented jaw with texture and noise, about tooth 36; frontSite the front of an
// upper one, about tooth 21. Each is drawn once.
var (
	lowerSite = sync.OnceValues(func() (*volume.Volume, phantom.Plan) { return drawnAbout(phantom.Mandible, 36) })
	frontSite = sync.OnceValues(func() (*volume.Volume, phantom.Plan) { return drawnAbout(phantom.Maxilla, 21) })
)

// drawnAbout draws 46 mm of an invented jaw about a tooth that is missing.
func drawnAbout(jaw phantom.Kind, tooth int) (*volume.Volume, phantom.Plan) {
	o := phantom.Demo(jaw)
	o.Scan.Voxel, o.Scan.Blur, o.Scan.Noise = [3]float64{0.4, 0.4, 0.4}, 0.25, 60
	if jaw == phantom.Maxilla {
		o.Teeth, o.Sites = []int{}, []int{tooth}
	}
	small, err := o.Small(tooth, 46)
	if err != nil {
		panic(err)
	}
	made, err := phantom.New(small)
	if err != nil {
		panic(err)
	}
	v, err := made.Volume(context.Background(), nil)
	if err != nil {
		panic(err)
	}
	return v, made.Plan()
}

// measured runs the plan of [lowerSite] after change; extra goes to the end of its text.
func measured(t *testing.T, change func(p *phantom.Plan), extra string) (*measure.Result, error) {
	t.Helper()
	v, _ := lowerSite()
	return measuredIn(t, v, change, func(text string) string { return text + extra })
}

// measuredIn runs the plan of [lowerSite] in v after change, its text after edit.
func measuredIn(t *testing.T, v *volume.Volume, change func(p *phantom.Plan), edit func(string) string) (*measure.Result, error) {
	t.Helper()
	_, p := lowerSite()
	return measuredAs(t, v, p, change, edit)
}

// measuredAs runs a drawn plan in v after change, its text after edit.
func measuredAs(t *testing.T, v *volume.Volume, p phantom.Plan, change func(p *phantom.Plan), edit func(string) string) (*measure.Result, error) {
	t.Helper()
	p.Sites, p.Structures, p.Arch = slices.Clone(p.Sites), slices.Clone(p.Structures), slices.Clone(p.Arch)
	for i := range p.Structures {
		p.Structures[i].Path = slices.Clone(p.Structures[i].Path)
	}
	change(&p)
	var text bytes.Buffer
	require.NoError(t, p.Write(&text))
	read, _, err := plan.Read("plan.yaml", []byte(edit(text.String())), nil)
	if err != nil {
		return nil, err
	}
	return measure.RunPlan(context.Background(), v, read, measure.Scan{}, measure.Options{})
}

// moveCanal moves every point of the left canal.
func moveCanal(move func(r3.Vec) r3.Vec) func(*phantom.Plan) {
	return func(p *phantom.Plan) {
		for i, s := range p.Structures {
			if s.Name == "left canal" {
				for j, x := range s.Path {
					p.Structures[i].Path[j] = move(x)
				}
			}
		}
	}
}

func shift(d r3.Vec) func(r3.Vec) r3.Vec { return func(p r3.Vec) r3.Vec { return r3.Add(p, d) } }

func rowTo(t *testing.T, r *measure.Result, to string) measure.Row {
	t.Helper()
	for _, row := range r.Sites[0].Rows {
		if row.Quantity == "clearance" && row.To == to {
			return row
		}
	}
	t.Fatalf("no row to %q", to)
	return measure.Row{}
}

func codes(r *measure.Result) []string {
	var out []string
	for _, c := range r.Cautions {
		out = append(out, c.Code)
	}
	return out
}

func TestRightlyMarkedCanalIsHeld(t *testing.T) {
	r, err := measured(t, func(*phantom.Plan) {}, "")
	require.NoError(t, err)
	assert.Equal(t, measure.Held, rowTo(t, r, "left canal").Verdict)
	assert.Equal(t, measure.Held, r.Sites[0].Verdict, "%v", r.Sites[0].Note)
	// The plan is of the whole jaw, the scan of a part.
	assert.Equal(t, []string{"scan_not_named"}, slices.DeleteFunc(codes(r), func(c string) bool { return c == "structure_outside_scan" }))
	assert.Equal(t, measure.Left, r.Sites[0].Side)
	assert.Equal(t, "36, lower left first molar", r.Sites[0].Name)
}

// Everyday slips in marking a canal: none of them reads held.
func TestCanalMarkedElsewhereIsNeverHeld(t *testing.T) {
	for name, c := range map[string]struct {
		move func(r3.Vec) r3.Vec
		want measure.Verdict
		code string
	}{
		"30 mm too high, in the mouth": {shift(r3.Vec{Z: 30}), measure.NotAssessed, "structure_place"},
		"its z sign flipped":           {func(p r3.Vec) r3.Vec { return r3.Vec{X: p.X, Y: p.Y, Z: -p.Z + 12} }, measure.NotAssessed, "structure_place"},
		"20 mm too low":                {shift(r3.Vec{Z: -20}), measure.NotAssessed, "structure_place"},
		"8 mm aside, outward":          {shift(r3.Vec{X: 8}), measure.NotAssessed, "structure_place"},
		"3 mm too low":                 {shift(r3.Vec{Z: -3}), measure.Uncertain, "canal_elsewhere"},
		"2.5 mm aside":                 {shift(r3.Vec{X: -2.5}), measure.Uncertain, "canal_elsewhere"},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := measured(t, moveCanal(c.move), "")
			require.NoError(t, err)
			row := rowTo(t, r, "left canal")
			assert.Equal(t, c.want, row.Verdict, row.Note)
			assert.NotEqual(t, measure.Held, r.Sites[0].Verdict)
			assert.Contains(t, codes(r), c.code)
			if c.want == measure.NotAssessed {
				assert.NotEmpty(t, r.Sites[0].HeightOpen, "a height to a canal that cannot be there is never the bold number")
			}
			for _, tried := range r.Sites[0].SizesTried {
				assert.NotEqual(t, measure.Held, tried.Verdict, "no size tried is held either")
			}
		})
	}
}

// An implant that stands outside the bone is the plainest of findings, in every direction.
func TestImplantOutsideTheBoneIsNotHeld(t *testing.T) {
	for name, d := range map[string]r3.Vec{"coronal": {Z: 3.3}, "buccal": {X: 12}, "lingual": {X: -12, Y: -3}} {
		t.Run(name, func(t *testing.T) {
			r, err := measured(t, func(p *phantom.Plan) { p.Sites[0].Platform = r3.Add(p.Sites[0].Platform, d) }, "")
			require.NoError(t, err)
			s := r.Sites[0]
			assert.Equal(t, measure.NotHeld, s.Verdict)
			first := s.Rows[0]
			assert.True(t, first.Overlap(), "%+v", first)
			assert.True(t, slices.ContainsFunc(s.Rows, func(r measure.Row) bool {
				return r.Verdict == measure.NotHeld && strings.HasPrefix(r.Note, "the implant stands outside the bone")
			}))
		})
	}
}

// withoutPose takes platform and axis of the implant out of a plan's text.
func withoutPose(text string) string {
	from, to := strings.Index(text, "      platform:"), strings.Index(text, "      diameter_mm")
	return text[:from] + text[to:]
}

// The simplest plan, diameter and length alone, stands where the ridge is wide enough, and says so.
func TestSimplestPlanStandsOnTheUsableCrest(t *testing.T) {
	v, _ := lowerSite()
	for diameter, from := range map[float64]string{4: "usable crest for 7 mm", 9: "least depth with 9 mm of width", 15: "crest"} {
		simple, err := measuredIn(t, v, func(p *phantom.Plan) { p.Sites[0].Diameter = diameter }, withoutPose)
		require.NoError(t, err)
		row, ok := simple.Sites[0].Lookup("platform_depth", nan)
		require.True(t, ok)
		assert.Equal(t, from, row.To)
		_, deep := caution(simple, "platform_deep")
		assert.Equal(t, *row.Value > 1, deep, "stands %.2f mm deep", *row.Value)
		for _, q := range []quantity.Name{quantity.BuccalBone, quantity.LingualBone} {
			if least := least(simple.Sites[0], q); diameter == 4 {
				assert.NotEqual(t, measure.NotHeld, least.Verdict, "%s %v %s", q, *least.Value, least.Note)
			}
		}
	}
}

func least(s measure.SiteResult, q quantity.Name) measure.Row {
	for _, r := range s.Rows {
		if r.Quantity == q && r.At == nil {
			return r
		}
	}
	return measure.Row{}
}

// A plan names its scan: another is refused, with the line, unless it is asked for.
func TestPlanNamesItsScan(t *testing.T) {
	v, p := lowerSite()
	var text bytes.Buffer
	require.NoError(t, p.Write(&text))
	hash := func(c string) string { return strings.Repeat(c, 64) }
	run := func(with string, scan measure.Scan, o measure.Options) (*measure.Result, error) {
		p, source, err := plan.Read("plan.yaml", append(bytes.Clone(text.Bytes()), with...), nil)
		require.NoError(t, err)
		placed, err := p.Place(v.Grid, source)
		require.NoError(t, err)
		return measure.Run(context.Background(), v, placed, scan, o)
	}
	named := fmt.Sprintf("for: {series: %s, frame: %s}\n", hash("a"), hash("b"))
	_, err := run(named, measure.Scan{SeriesHash: hash("c"), FrameHash: hash("b")}, measure.Options{})
	var faults plan.Errors
	require.ErrorAs(t, err, &faults)
	assert.ErrorContains(t, err, "made on another scan")
	assert.NotZero(t, faults[0].Line)
	r, err := run(named, measure.Scan{SeriesHash: hash("c"), FrameHash: hash("b")}, measure.Options{Other: true})
	require.NoError(t, err)
	assert.Contains(t, codes(r), "other_scan")
	r, err = run(named, measure.Scan{SeriesHash: hash("a"), FrameHash: hash("b")}, measure.Options{})
	require.NoError(t, err)
	assert.NotContains(t, codes(r), "scan_not_named")
	r, err = run("for: {frame: "+hash("b")+"}\n", measure.Scan{SeriesHash: hash("c"), FrameHash: hash("b")}, measure.Options{})
	require.NoError(t, err)
	assert.Contains(t, codes(r), "frame_only")
}

// A plan of another frame, whole: the arch runs beside the bone, and no site is held.
func TestPlanOfAnotherFrameIsNeverHeld(t *testing.T) {
	off := r3.Vec{X: 9, Y: -3}
	r, err := measured(t, func(p *phantom.Plan) {
		for i := range p.Arch {
			p.Arch[i] = r3.Add(p.Arch[i], off)
		}
		p.Sites[0].At, p.Sites[0].Platform = r3.Add(p.Sites[0].At, off), r3.Add(p.Sites[0].Platform, off)
		for i := range p.Structures {
			for j := range p.Structures[i].Path {
				p.Structures[i].Path[j] = r3.Add(p.Structures[i].Path[j], off)
			}
		}
	}, "")
	require.NoError(t, err)
	for _, row := range r.Sites[0].Rows {
		assert.NotEqual(t, measure.Held, row.Verdict, "%s to %s: %s", row.Quantity, row.To, row.Note)
	}
}

// withRod returns the volume with a rod of metal's brightness, 6 mm long, from a point along an axis.
func withRod(v *volume.Volume, from, axis r3.Vec) *volume.Volume {
	in := *v
	in.Stored = slices.Clone(v.Stored)
	for n := range in.Stored {
		k := n / (v.Size[0] * v.Size[1])
		x := v.Patient(volume.Index{I: float64(n % v.Size[0]), J: float64(n / v.Size[0] % v.Size[1]), K: float64(k)})
		d := r3.Sub(x, from)
		along := r3.Dot(d, axis)
		if along > 0 && along < 6 && r3.Norm(r3.Sub(d, r3.Scale(along, axis))) < rodRadius {
			r := v.RescaleOf(k)
			in.Stored[n] = int16((3000 - r.Intercept) / r.Slope)
		}
	}
	return &in
}

const rodRadius = 1.8 // mm

// A rod of metal's brightness stands in the implant's place, or beside it along the arch: unmarked, no margin
// is held; marked as an implant, its distance is what is said; farther off, nothing is.
func TestImplantInAnUnmarkedBody(t *testing.T) {
	v, p := lowerSite()
	im := p.Sites[0]
	curve := r3.Unit(r3.Sub(p.Arch[len(p.Arch)-3], p.Arch[len(p.Arch)-5]))
	along := r3.Unit(r3.Sub(curve, r3.Scale(r3.Dot(curve, im.Implant), im.Implant)))
	touching := im.Diameter/2 + rodRadius
	for _, c := range []struct {
		off  float64 // of the rod's axis from the implant's, along the arch, mm
		said bool
		want measure.Verdict // of the rod marked as an implant
	}{{0, true, measure.NotHeld}, {touching + 0.7, true, measure.NotHeld}, {-touching - 0.7, true, measure.NotHeld}, {touching + 6, false, measure.Held}} {
		from := r3.Add(r3.Add(im.Platform, r3.Scale(2, im.Implant)), r3.Scale(c.off, along))
		in := withRod(v, from, im.Implant)
		r, err := measuredIn(t, in, func(*phantom.Plan) {}, func(text string) string { return text })
		require.NoError(t, err)
		_, said := caution(r, "unmarked_body")
		assert.Equal(t, c.said, said, "%g mm along the arch", c.off)
		for _, row := range r.Sites[0].Rows {
			assert.False(t, c.said && row.Verdict == measure.Held, "%s to %s", row.Quantity, row.To)
		}
		end := r3.Add(from, r3.Scale(6, im.Implant))
		r, err = measuredIn(t, in, func(*phantom.Plan) {}, func(text string) string {
			return strings.Replace(text, "structures:\n", "structures:\n"+fmt.Sprintf("  - {name: old implant, kind: implant, path: [[%g, %g, %g], [%g, %g, %g]], radius_mm: %g}\n", from.X, from.Y, from.Z, end.X, end.Y, end.Z, rodRadius), 1)
		})
		require.NoError(t, err)
		assert.NotContains(t, codes(r), "unmarked_body")
		assert.Equal(t, c.want, rowTo(t, r, "old implant").Verdict, "%g mm along the arch", c.off)
	}
}

// A mark accounts for the body that it is on, not for one 2 mm from its surface: a front tooth's neighbour stands no farther.
func TestMarkBesideABodyIsNotIts(t *testing.T) {
	v, p := lowerSite()
	im := p.Sites[0]
	from := r3.Add(im.Platform, r3.Scale(2, im.Implant))
	in := withRod(v, from, im.Implant)
	curve := r3.Unit(r3.Sub(p.Arch[len(p.Arch)-3], p.Arch[len(p.Arch)-5]))
	aside := r3.Unit(r3.Cross(im.Implant, curve))
	for off, said := range map[float64]bool{rodRadius + 0.5: false, rodRadius + 2: true} {
		a := r3.Add(from, r3.Scale(off, aside))
		b := r3.Add(a, r3.Scale(6, im.Implant))
		r, err := measuredIn(t, in, func(*phantom.Plan) {}, func(text string) string {
			return strings.Replace(text, "structures:\n", fmt.Sprintf("structures:\n  - {name: old implant, kind: implant, path: [[%g, %g, %g], [%g, %g, %g]], radius_mm: %g}\n", a.X, a.Y, a.Z, b.X, b.Y, b.Z, rodRadius), 1)
		})
		require.NoError(t, err)
		_, found := caution(r, "unmarked_body")
		assert.Equal(t, said, found, "marked %g mm off: %v", off, codes(r))
	}
}

var nan = math.NaN()

// The incisive canal is one for all sites: marked beside itself, the image shows where it is, and no site's margin to
// it is held.
func TestIncisiveCanalBesideItsPlace(t *testing.T) {
	v, drawn := frontSite()
	same := func(text string) string { return text }
	for _, by := range []r3.Vec{{}, {X: 1}, {X: -4}, {X: 5, Y: -2}, {Y: -5}} {
		r, err := measuredAs(t, v, drawn, func(p *phantom.Plan) {
			i := slices.IndexFunc(p.Structures, func(s phantom.PlanStructure) bool { return s.Kind == "incisive_canal" })
			for k, x := range p.Structures[i].Path {
				p.Structures[i].Path[k] = r3.Add(x, by)
			}
		}, same)
		require.NoError(t, err)
		found, said := caution(r, "canal_elsewhere")
		row := rowTo(t, r, "incisive canal")
		assert.Equal(t, r3.Norm(by) > 2, said, "moved by %v: %v", by, codes(r))
		assert.NotContains(t, codes(r), "canal_not_shown")
		if said {
			assert.Equal(t, measure.SeverityUncertain, found.Severity)
			assert.NotEqual(t, measure.Held, row.Verdict, "moved by %v", by)
		} else {
			assert.Equal(t, measure.Held, row.Verdict, "moved by %v: %v", by, row)
		}
	}
}
