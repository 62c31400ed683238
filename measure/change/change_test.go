package change

import (
	"bytes"
	"context"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/align"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
)

// visited is a jaw before and after: 1.2 mm of the crest lost at 46, nothing at 36.
type visited struct {
	jaw           *phantom.Jaw
	again         *phantom.Second
	before, after Scan
	plan          *plan.Plan
	file          align.File
}

var once = sync.OnceValues(func() (*visited, error) {
	o := phantom.Demo(phantom.Mandible)
	o.Scan = phantom.Scan{Voxel: [3]float64{0.5, 0.5, 0.5}, Blur: 0.3, Noise: 60}
	o.Sites = []int{46, 36}
	j, err := phantom.New(o)
	if err != nil {
		return nil, err
	}
	s, err := j.Again(theVisit())
	if err != nil {
		return nil, err
	}
	v := &visited{jaw: j, again: s}
	v.before.Facts, v.after.Facts = measure.Scan{SeriesHash: "a", Spacing: [3]float64{0.5, 0.5, 0.5}}, measure.Scan{SeriesHash: "b", Spacing: [3]float64{0.55, 0.55, 0.55}}
	if v.before.Volume, err = j.Volume(context.Background(), nil); err != nil {
		return nil, err
	}
	if v.after.Volume, err = s.Volume(context.Background(), nil); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := j.Plan().Write(&b); err != nil {
		return nil, err
	}
	if v.plan, _, err = plan.Read("plan.yaml", b.Bytes(), nil); err != nil {
		return nil, err
	}
	v.file, err = v.trueAlignment()
	return v, err
})

// theVisit is the second visit of [once].
func theVisit() phantom.Visit {
	return phantom.Visit{Turn: r3.Vec{X: 5, Y: -3, Z: 4}, Shift: r3.Vec{X: 3, Y: -2, Z: 2.5}, Changes: []phantom.Change{{Tooth: 46, Crest: 1.2}},
		Scan: phantom.Scan{Voxel: [3]float64{0.55, 0.55, 0.55}, Blur: 0.35, Noise: 60, Seed: 9}}
}

// trueAlignment is the true motion, known to 0.02 mm, accepted.
func (v *visited) trueAlignment() (align.File, error) {
	t := align.Identity("a")
	t.To = "b"
	for i, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		d := v.again.Direction(e)
		t.Rotation[0][i], t.Rotation[1][i], t.Rotation[2][i] = d.X, d.Y, d.Z
		t.Spread.Cov[3+i][3+i] = 0.02 * 0.02
	}
	t.Translation = v.again.Point(r3.Vec{})
	f := align.File{Kind: align.KindScans, First: align.Subject{Series: "a"}, Second: align.Subject{Series: "b"}, Transform: t}
	return f.Accept("test", time.Unix(0, 0))
}

func pair(t *testing.T) *visited {
	t.Helper()
	v, err := once()
	require.NoError(t, err)
	return v
}

func compared(t *testing.T, v *visited, f align.File) *Result {
	t.Helper()
	r, err := Compare(context.Background(), v.before, v.after, v.plan, nil, f, Options{})
	require.NoError(t, err)
	return r
}

func rowOf(t *testing.T, s Site, q quantity.Name, at float64) Row {
	t.Helper()
	for _, r := range s.Rows {
		if r.Quantity == q && (math.IsNaN(at) || r.At != nil && *r.At == at) {
			return r
		}
	}
	t.Fatalf("site %s has no %s", s.ID, q)
	return Row{}
}

// What was lost is shown, and is what the shape lost along the same axis; what was not lost is not shown.
func TestLostBoneIsShown(t *testing.T) {
	v := pair(t)
	r := compared(t, v, v.file)
	for i, s := range r.Sites {
		require.Empty(t, s.Err)
		before := r.Before.Sites[i]
		axis, near := before.Frame.Direction(before.Axis), before.Frame.Patient(before.Crest)
		sec, _ := v.jaw.SectionAt(v.jaw.Plan().Sites[i].At)
		was, wasTo, err := v.jaw.Limits(sec, near, axis)
		require.NoError(t, err)
		is, isTo, err := v.again.Limits(sec, near, axis)
		require.NoError(t, err)
		lost := r3.Dot(r3.Sub(is, was), axis)
		crest, height := rowOf(t, s, CrestLevel, math.NaN()), rowOf(t, s, quantity.RidgeHeight, math.NaN())
		require.InDelta(t, lost, crest.Change.Value, crest.Change.U()+0.02, s.ID)
		require.InDelta(t, isTo[0].Height-wasTo[0].Height, height.Change.Value, height.Change.U()+0.02, s.ID)
		require.Less(t, crest.Change.U(), 0.2)
		if s.ID == "46" {
			require.Greater(t, lost, 1.0)
			require.Equal(t, Change, crest.Shown)
			require.Equal(t, Change, height.Shown)
			continue
		}
		require.InDelta(t, 0, lost, 1e-6)
		require.Equal(t, NoChange, crest.Shown)
		require.Equal(t, NoChange, height.Shown)
		require.Equal(t, NoChange, rowOf(t, s, quantity.RidgeWidth, 5).Shown)
	}
	term, _ := v.file.Transform.Term(r3.Vec{}, r3.Vec{X: 1})
	require.Contains(t, names(rowOf(t, r.Sites[0], CrestLevel, math.NaN())), term.Name, "a length that crosses carries the alignment")
}

func names(r Row) (out []string) {
	for _, t := range r.Change.Budget {
		out = append(out, t.Name)
	}
	return out
}

// A safety rule: an alignment that nobody accepted makes every change uncertain, shown or not.
func TestUnacceptedAlignmentShowsNothing(t *testing.T) {
	v := pair(t)
	f := v.file
	f.Accepted = nil
	r := compared(t, v, f)
	asked := 0
	for _, s := range r.Sites {
		for _, row := range s.Rows {
			if row.Shown != NoNumber {
				asked++
				require.Equal(t, Unsure, row.Shown)
			}
		}
	}
	require.Greater(t, asked, 10)
	require.Contains(t, r.Cautions, "the alignment was accepted by nobody: every change is at best uncertain")
}

// A safety rule: beside metal nothing is shown.
func TestBesideMetalNothingIsShown(t *testing.T) {
	rows := []Row{{Shown: Change}, {Shown: NoChange}, {Shown: NoNumber}}
	beside(rows)
	require.Equal(t, []Shown{Unsure, Unsure, NoNumber}, []Shown{rows[0].Shown, rows[1].Shown, rows[2].Shown})
}

// The rule is used: with an implant at 36 in the second scan, found or not asked for, nothing of the ridge is shown there, and 46 is as
// before. The level of the bone beside it, where metal is out of sight, has rows of its own.
func TestSiteWithAnImplantShowsNothing(t *testing.T) {
	v := pair(t)
	with := *v
	with.after.Volume = metalAt(v, 36)
	r, plain := compared(t, &with, v.file), compared(t, v, v.file)
	for i, s := range r.Sites {
		for k, row := range s.Rows {
			if slices.Contains([]quantity.Name{LevelMesial, LevelDistal, LevelBuccal, LevelLingual}, row.Quantity) {
				continue
			}
			if s.ID == "36" {
				require.Contains(t, []Shown{Unsure, NoNumber}, row.Shown, "%s", row.Quantity)
			} else {
				require.Equal(t, plain.Sites[i].Rows[k].Shown, row.Shown, "%s %s", s.ID, row.Quantity)
			}
		}
	}
}

// metalAt returns the second scan with the planned implant of a tooth painted into it.
func metalAt(v *visited, tooth int) *volume.Volume {
	out := *v.after.Volume
	out.Stored = slices.Clone(out.Stored)
	for _, s := range v.jaw.Plan().Sites {
		if s.Tooth != tooth {
			continue
		}
		from, axis := v.again.Point(s.Platform), v.again.Direction(s.Implant)
		for i := range out.Stored {
			ix := volume.Index{I: float64(i % out.Size[0]), J: float64(i / out.Size[0] % out.Size[1]), K: float64(i / out.Size[0] / out.Size[1])}
			d := r3.Sub(out.Patient(ix), from)
			far := r3.Dot(d, axis)
			if far >= 0 && far <= s.Length && r3.Norm(r3.Sub(d, r3.Scale(far, axis))) <= s.Diameter/2 {
				out.Stored[i] = 4500
			}
		}
	}
	return &out
}

// An alignment of other scans, the wrong way round, of another kind or without an uncertainty is refused.
func TestAlignmentOfOtherScans(t *testing.T) {
	v := pair(t)
	for name, spoil := range map[string]func(*align.File){
		"other first":  func(f *align.File) { f.First.Series = "c" },
		"other second": func(f *align.File) { f.Second.Series = "c" },
		"turned round": func(f *align.File) { f.First, f.Second = f.Second, f.First },
		"kind":         func(f *align.File) { f.Kind = align.KindPoints },
		"unknown":      func(f *align.File) { f.Transform.Spread = nil },
	} {
		f := v.file
		spoil(&f)
		_, err := Compare(context.Background(), v.before, v.after, v.plan, nil, f, Options{})
		require.ErrorIs(t, err, ErrAlignment, name)
	}
}

// Mesial is toward the middle of the arch on both sides.
func TestMesialIsTowardTheMidline(t *testing.T) {
	v := pair(t)
	placed, err := v.plan.Place(v.before.Volume.Grid, nil)
	require.NoError(t, err)
	c := &comparison{placed: placed}
	for _, arc := range []float64{0.2, 0.8} {
		s := measure.SiteResult{Frame: placed.Curve.Frame(arc * placed.Curve.Length())}
		m := c.sides(&s).Mesial
		toMiddle := r3.Sub(placed.Curve.At(placed.Curve.Length()/2), s.Frame.Origin)
		require.Positive(t, r3.Dot(m, toMiddle))
	}
}
