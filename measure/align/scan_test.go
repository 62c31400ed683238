package align

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/phantom"
)

// long reports whether what takes minutes is asked for too.
func long() bool { return os.Getenv("RIDGERULE_LONG") != "" }

// scanned is a jaw scanned twice.
type scanned struct {
	jaw           *phantom.Jaw
	again         *phantom.Second
	first, second *volume.Volume
}

// jawOf returns a lifelike jaw in coarse voxels: tests draw many.
func jawOf(kind phantom.Kind, seed uint64, voxel float64) phantom.Options {
	o := phantom.Demo(kind)
	o.Seed, o.Scan.Noise, o.Scan.Blur = seed, 60, voxel/2 // as wide a blur as this is drawn in a tenth of the time
	o.Scan.Voxel, o.Scan.Size = [3]float64{voxel, voxel, voxel}, [3]int{}
	return o
}

func scanTwice(t testing.TB, o phantom.Options, v phantom.Visit) scanned {
	t.Helper()
	j, err := phantom.New(o)
	require.NoError(t, err)
	s, err := j.Again(v)
	require.NoError(t, err)
	p := scanned{jaw: j, again: s}
	p.first, err = j.Volume(context.Background(), nil)
	require.NoError(t, err)
	p.second, err = s.Volume(context.Background(), nil)
	require.NoError(t, err)
	return p
}

// moved is a usual second visit: 7.8° and 4.4 mm away, in another scan.
func movedVisit(voxel float64) phantom.Visit {
	return phantom.Visit{Turn: r3.Vec{X: 6, Y: -3, Z: 4}, Shift: r3.Vec{X: 3, Y: -2, Z: 2.5},
		Scan: phantom.Scan{Voxel: [3]float64{voxel, voxel, voxel}, Blur: voxel / 2, Noise: 100, Seed: 99}}
}

// pairOnce is one pair that several tests look at.
var pairOnce = sync.OnceValues(func() (scanned, *ScanFit) {
	p := scanTwice(quiet{}, jawOf(phantom.Mandible, 7, 0.7), movedVisit(0.8))
	fit, err := Scans(context.Background(), p.first, p.second, ScanOptions{From: "before", To: "after"})
	if err != nil {
		panic(err)
	}
	return p, fit
})

// quiet is a test that panics: what it makes belongs to several.
type quiet struct{ testing.TB }

func (quiet) Helper()               {}
func (quiet) Errorf(string, ...any) {}
func (quiet) FailNow()              { panic("the pair could not be drawn") }

// target is the error of a transform at platform and apex of every planned implant, RMS, mm.
func (p scanned) target(t Transform) float64 {
	sum, n := 0.0, 0.0
	for _, s := range p.jaw.Plan().Sites {
		for _, along := range []float64{0, s.Length} {
			q := r3.Add(s.Platform, r3.Scale(along, s.Implant))
			sum += r3.Norm2(r3.Sub(t.Apply(q), p.again.Point(q)))
			n++
		}
	}
	return math.Sqrt(sum / n)
}

// Two scans of one jaw, of other voxels, blur and noise, are brought onto one another to a tenth of a voxel where
// implants stand; the uncertainty says so; no size is found where there is none.
func TestScansOfOneJaw(t *testing.T) {
	p, fit := pairOnce()
	require.Less(t, p.target(fit.Transform), 0.05)
	for _, s := range p.jaw.Plan().Sites {
		e := r3.Sub(fit.Apply(s.Platform), p.again.Point(s.Platform))
		for _, dir := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
			require.Less(t, math.Abs(r3.Dot(e, dir)), 4*fit.Std(fit.Apply(s.Platform), dir))
		}
	}
	require.Less(t, fit.Std3(fit.Apply(p.jaw.Plan().Sites[0].Platform)), 0.06)
	require.Less(t, math.Abs(fit.Size), 0.001)
	require.Empty(t, fit.Cautions)
	require.Equal(t, [2]string{"before", "after"}, [2]string{fit.From, fit.To})
	require.NoError(t, fit.Check())
	require.Greater(t, fit.Overlap, 0.9)
}

// There and back is where one was, within 0.02 mm, though each is found by itself.
func TestScansThereAndBack(t *testing.T) {
	p, fit := pairOnce()
	back, err := Scans(context.Background(), p.second, p.first, ScanOptions{From: "after", To: "before"})
	require.NoError(t, err)
	both, err := fit.Then(back.Transform)
	require.NoError(t, err)
	for _, s := range p.jaw.Plan().Sites {
		require.Less(t, r3.Norm(r3.Sub(both.Apply(s.Platform), s.Platform)), 0.02)
	}
}

// Any start within 10° and 10 mm, and other points, find the same place; RIDGERULE_LONG tries 20.
func TestScansFromManyStarts(t *testing.T) {
	p, _ := pairOnce()
	n := 1
	if long() {
		n = 20
	}
	r := rand.New(rand.NewPCG(1, 1))
	for i := range n {
		in := func(most float64) float64 { return most * (2*r.Float64() - 1) }
		start := Rigid("before", "after", r3.Scale(math.Pi/180, r3.Vec{X: in(10), Y: in(10), Z: in(10)}), r3.Vec{X: in(10), Y: in(10), Z: in(10)})
		got, err := Scans(context.Background(), p.first, p.second, ScanOptions{Start: &start, Seed: uint64(i) + 1})
		require.NoError(t, err)
		require.Less(t, p.target(got.Transform), 0.05, "start %d: %v", i, start)
	}
}

// mirrorImage returns the volume with its columns in the other order, as a series whose sides were taken for each other.
func mirrorOf(v *volume.Volume) *volume.Volume {
	out := *v
	out.Stored = slices.Clone(v.Stored)
	for at := 0; at < len(out.Stored); at += v.Size[0] {
		slices.Reverse(out.Stored[at : at+v.Size[0]])
	}
	return &out
}

// A mirror image, another patient's jaw and a scan that shares next to nothing are refused, each with its reason. These are
// safety rules: with the limits set so that they never hold, the three are aligned to within 0.3 mm of their own nonsense.
func TestScansRefused(t *testing.T) {
	p, _ := pairOnce()
	refused := func(a, b *volume.Volume, o ScanOptions, words string) {
		t.Helper()
		_, err := Scans(context.Background(), a, b, o)
		require.ErrorIs(t, err, ErrRefused)
		var why *Refusal
		require.True(t, errors.As(err, &why))
		require.Contains(t, why.Why, words)
		require.NotEmpty(t, why.Remedy)
	}
	refused(p.first, mirrorOf(p.second), ScanOptions{Points: 8000}, "mirror image")
	refused(p.first, p.second, ScanOptions{Keep: func(q r3.Vec) bool { return q.X > 400 }}, "where it may be used")
	other, err := phantom.New(jawOf(phantom.Mandible, 8, 0.8))
	require.NoError(t, err)
	v, err := other.Volume(context.Background(), nil)
	require.NoError(t, err)
	refused(p.first, v, ScanOptions{Points: 8000}, "one rigid bone")
	corner := *p.second // the same scan, elsewhere in the patient
	corner.Origin = r3.Add(corner.Origin, r3.Vec{X: 300})
	start := Rigid("", "", r3.Vec{}, r3.Vec{})
	refused(p.first, &corner, ScanOptions{Start: &start}, "field")
}

// A search that missed the right place is refused, whatever its parts do: of a place 24 mm off, from a start as far away as that, half of
// the parts said so little that they stayed where they were, and only the mirror image, which said 1.000 times as much, refused it.
func TestScansRefusedWhereNothingIsFound(t *testing.T) {
	require.ErrorIs(t, found{nats: 0.26, next: 0.255}.decided(), ErrRefused)
	require.NoError(t, found{nats: 1.65, next: 0.28}.decided())
	require.NoError(t, found{nats: 1.65}.decided())
	p, fit := pairOnce()
	for i, far := range []r3.Vec{{X: 45}, {Y: -50, Z: 20}, {X: -30, Y: 40}} {
		off := Rigid("after", "after", r3.Scale(math.Pi/180, r3.Vec{X: 30, Y: -25, Z: 20}), far)
		start, err := fit.Then(off)
		require.NoError(t, err)
		got, err := Scans(context.Background(), p.first, p.second, ScanOptions{Start: &start, Points: 8000})
		if err == nil {
			require.Less(t, p.target(got.Transform), 0.1, "start %d", i)
			continue
		}
		require.ErrorIs(t, err, ErrRefused, "start %d", i)
	}
}

// Scans that share a fifth of the bone are refused, wherever the search begins.
func TestScansThatShareTooLittle(t *testing.T) {
	few := &pair{o: ScanOptions{Points: 400}}
	require.ErrorIs(t, few.enough(&ScanFit{Overlap: 0.2, Points: 400}), ErrRefused)
	require.ErrorIs(t, few.enough(&ScanFit{Overlap: 0.9, Points: 19}), ErrRefused)
	require.NoError(t, few.enough(&ScanFit{Overlap: 0.25, Points: 20}))
}

// A search that is interrupted says so.
func TestScansInterrupted(t *testing.T) {
	p, _ := pairOnce()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := Scans(ctx, p.first, p.second, ScanOptions{})
	require.ErrorIs(t, err, context.Canceled)
}

// A size error of 0.4 % is found, said, and is in the uncertainty; it is not applied.
func TestScansOfOtherSize(t *testing.T) {
	p, _ := pairOnce()
	large := *p.second
	for i := range large.Step {
		large.Step[i] = r3.Scale(1.004, large.Step[i])
	}
	fit, err := Scans(context.Background(), p.first, &large, ScanOptions{Points: 15000})
	require.NoError(t, err)
	require.InDelta(t, 0.004, fit.Size, 0.0006)
	require.Len(t, fit.Cautions, 1)
	require.Contains(t, fit.Cautions[0], "longer than in the first")
	far := r3.Vec{X: 30, Y: -20, Z: 5} // its error there is 0.4 % of some 36 mm: 0.14 mm
	require.Greater(t, 2*fit.Std3(fit.Apply(far)), 0.1)
	require.NoError(t, fit.Check(), "rigid all the same")
}

// The fast way to ask a volume says what [volume.Volume.At] says, and its slope is that of differences.
func TestImageAgreesWithTheVolume(t *testing.T) {
	g := volume.Grid{Size: [3]int{9, 7, 5}, Origin: r3.Vec{X: 3, Y: -2, Z: 1}, Step: [3]r3.Vec{{X: 0.3, Y: 0.1}, {Y: 0.4}, {Y: 0.1, Z: -0.5}}}
	v, err := volume.New(g)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(5, 6))
	for i := range v.Stored {
		v.Stored[i] = int16(r.IntN(3000))
	}
	v.Rescale = nil
	for k := range g.Size[2] {
		v.Rescale = append(v.Rescale, volume.Rescale{Slope: 1 + float64(k)/10, Intercept: -100})
	}
	blank := v.Stored[2*63+3*9+4]
	v.Blank = &blank
	m := newImage(v)
	seen := 0
	for range 2000 {
		p := v.Patient(volume.Index{I: 10*r.Float64() - 1, J: 8*r.Float64() - 1, K: 6*r.Float64() - 1})
		got, slope, ok := m.at(p)
		want := v.At(p)
		require.Equal(t, want == want, ok)
		if !ok {
			continue
		}
		seen++
		require.InDelta(t, want, got, 1e-3*math.Abs(want)+1e-3)
		for axis, e := range []r3.Vec{{X: 1e-5}, {Y: 1e-5}, {Z: 1e-5}} {
			up, _, ok1 := m.at(r3.Add(p, e))
			down, _, ok2 := m.at(r3.Sub(p, e))
			if ok1 && ok2 {
				require.InDelta(t, (up-down)/2e-5, [3]float64{slope.X, slope.Y, slope.Z}[axis], 1+0.02*math.Abs(up-down)/2e-5+200*1e-2)
			}
		}
	}
	require.Greater(t, seen, 300)
}

// A reduced volume has the mean of its voxels at their middle, and no value where they have none.
func TestReducedVolume(t *testing.T) {
	g := volume.Grid{Size: [3]int{8, 8, 8}, Step: [3]r3.Vec{{X: 0.5}, {Y: 0.5}, {Z: 0.5}}}
	v, err := volume.New(g)
	require.NoError(t, err)
	for i := range v.Stored {
		v.Stored[i] = int16(i%8*10 + i/8%8*100)
	}
	blank := int16(-9)
	v.Blank = &blank
	for _, i := range []int{0, 1, 8, 9, 64, 65, 72, 73} {
		v.Stored[i] = blank
	}
	got := reduced(v, 1.2)
	require.Equal(t, [3]int{4, 4, 4}, got.Size)
	require.Equal(t, r3.Vec{X: 0.25, Y: 0.25, Z: 0.25}, got.Origin)
	require.InDelta(t, 25+250, got.Grey(1, 1, 1), 0.5)
	require.True(t, math.IsNaN(got.Grey(0, 0, 0)))
	require.Same(t, v, reduced(v, 0.9))
}

// The slope of the mutual information is that of its differences, by all seven parameters, away from the optimum.
func TestInformationSlope(t *testing.T) {
	p, fit := pairOnce()
	of, err := newPair(p.first, p.second, ScanOptions{})
	require.NoError(t, err)
	m := motionOf(fit.Transform, of.middle)
	n := of.round(1, 8000, m)
	n.within(m)
	m = m.after([params]float64{0.01, -0.006, 0.008, 0.3, -0.2, 0.25, 0.002})
	_, by := n.at(m)
	all := by.sum()
	for q := range params {
		var d [params]float64
		d[q] = 2e-3 / leverOf[q]
		up, _ := n.value(m.after(d))
		d[q] = -d[q]
		down, _ := n.value(m.after(d))
		want := (up - down) / (4e-3 / leverOf[q])
		require.InDelta(t, want, all[q], 0.02*math.Abs(want)+0.01*leverOf[q], "parameter %d", q)
	}
}

// A second scan whose field is cut off is aligned by what it shows; where it shows nothing, the uncertainty is larger and holds
// the error.
func TestScansWithACutField(t *testing.T) {
	p, whole := pairOnce()
	half := *p.second
	from := half.Size[0] / 2
	half.Size[0] -= from
	half.Origin = r3.Add(half.Origin, r3.Scale(float64(from), half.Step[0]))
	half.Stored = nil
	for at := from; at < len(p.second.Stored); at += p.second.Size[0] {
		half.Stored = append(half.Stored, p.second.Stored[at:at+half.Size[0]]...)
	}
	fit, err := Scans(context.Background(), p.first, &half, ScanOptions{})
	require.NoError(t, err)
	require.Less(t, fit.Overlap, 0.7)
	seen, unseen := 0, 0
	for _, s := range p.jaw.Plan().Sites {
		at := fit.Apply(s.Platform)
		e, u := r3.Norm(r3.Sub(at, p.again.Point(s.Platform))), fit.Std3(at)
		if half.Contains(half.Index(at)) {
			seen++
			require.Less(t, e, 0.07, "site %d", s.Tooth)
			continue
		}
		unseen++
		require.Greater(t, u, whole.Std3(at), "site %d", s.Tooth)
		require.Less(t, e, 3*u, "site %d", s.Tooth)
	}
	require.Positive(t, seen)
	require.Positive(t, unseen)
}

// BenchmarkScans aligns two scans of 400×400×300 voxels; on two idle cores it must take 10 s at most. Drawing them takes longer, and
// is not counted.
func BenchmarkScans(b *testing.B) {
	o := jawOf(phantom.Mandible, 7, 0.25)
	o.Scan.Size, o.Scan.Blur = [3]int{400, 400, 300}, 0.3
	v := movedVisit(0.25)
	v.Scan.Size, v.Scan.Blur = [3]int{400, 400, 300}, 0.3
	p := scanTwice(b, o, v)
	for b.Loop() {
		if _, err := Scans(context.Background(), p.first, p.second, ScanOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
