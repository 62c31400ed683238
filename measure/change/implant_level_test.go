package change

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/align"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
)

// withImplants is a jaw of even shape and its second scan: implants at 46 and 36 that bloom and cast streaks, in both scans or in
// the second alone; 1.5 mm of the crest lost at 46.
func withImplants(both bool) (*visited, []phantom.Placed, error) {
	o := phantom.Options{Jaw: phantom.Mandible, Seed: 5, Sites: []int{46, 36}, Shape: phantom.Shape{Width: 11, CrestCap: 1}}
	metal := phantom.Artefacts{Bloom: 0.15, Streaks: 80, Top: 4000}
	o.Scan = phantom.Scan{Voxel: [3]float64{0.5, 0.5, 0.5}, Blur: 0.25, Noise: 80}
	bare, err := phantom.New(o)
	if err != nil {
		return nil, nil, err
	}
	implants := bare.Places(4)
	visit := phantom.Visit{Turn: r3.Vec{X: 5, Y: -3, Z: 4}, Shift: r3.Vec{X: 3, Y: -2, Z: 2.5}, Changes: []phantom.Change{{Tooth: 46, Crest: 1.5}},
		Scan: phantom.Scan{Voxel: [3]float64{0.55, 0.55, 0.55}, Blur: 0.3, Noise: 80, Seed: 9}, Artefacts: metal}
	if both {
		o.Implants, o.Artefacts = implants, metal
	} else {
		visit.Implants = implants
	}
	j, err := phantom.New(o)
	if err != nil {
		return nil, nil, err
	}
	v := &visited{jaw: j}
	if v.again, err = j.Again(visit); err != nil {
		return nil, nil, err
	}
	v.before.Facts, v.after.Facts = measure.Scan{SeriesHash: "a", Spacing: [3]float64{0.5, 0.5, 0.5}}, measure.Scan{SeriesHash: "b", Spacing: [3]float64{0.55, 0.55, 0.55}}
	if v.before.Volume, err = j.Volume(context.Background(), nil); err != nil {
		return nil, nil, err
	}
	if v.after.Volume, err = v.again.Volume(context.Background(), nil); err != nil {
		return nil, nil, err
	}
	var b bytes.Buffer
	if err = bare.Plan().Write(&b); err != nil {
		return nil, nil, err
	}
	if v.plan, _, err = plan.Read("plan.yaml", b.Bytes(), nil); err != nil {
		return nil, nil, err
	}
	v.file, err = v.trueAlignment()
	return v, implants, err
}

type standing struct {
	v        *visited
	implants []phantom.Placed
	r        *Result
}

var standings = map[bool]func() (*standing, error){}

func init() {
	for _, both := range []bool{false, true} {
		standings[both] = sync.OnceValues(func() (*standing, error) {
			v, implants, err := withImplants(both)
			if err != nil {
				return nil, err
			}
			r, err := Compare(context.Background(), v.before, v.after, v.plan, nil, v.file, Options{Placed: true})
			return &standing{v, implants, r}, err
		})
	}
}

// trueLevel is where the shape's bone begins beside an implant, mm below its platform: the middle of five lines at so many mm from
// its side, from the shape's own surface.
func trueLevel(t *testing.T, j *phantom.Jaw, im phantom.Placed, dir r3.Vec, hidden float64) float64 {
	t.Helper()
	dir = r3.Unit(r3.Sub(dir, r3.Scale(r3.Dot(dir, im.Axis), im.Axis)))
	aside := r3.Cross(im.Axis, dir)
	var all []float64
	for _, degrees := range levelLines {
		sin, cos := math.Sincos(degrees * math.Pi / 180)
		p := r3.Add(im.Platform, r3.Scale(im.Diameter/2+hidden, r3.Add(r3.Scale(cos, dir), r3.Scale(sin, aside))))
		crest, _, err := j.Limits(phantom.Section{Origin: p, Buccal: dir, Up: r3.Scale(-1, im.Axis)}, r3.Add(p, r3.Scale(6, im.Axis)), im.Axis)
		require.NoError(t, err)
		all = append(all, r3.Dot(r3.Sub(crest, im.Platform), im.Axis))
	}
	slices.Sort(all)
	return all[2]
}

// Bone lost at an implant by a known amount is shown at each side, bone that stayed is not, whether the implant stands in both scans or in the second
// alone; both levels are the shape's.
func TestBoneLevelAtImplants(t *testing.T) {
	for _, both := range []bool{false, true} {
		x, err := standings[both]()
		require.NoError(t, err)
		for i, s := range x.r.Sites {
			require.NotNil(t, s.Placed, s.NotPlaced)
			frame := x.r.Before.Sites[i].Frame
			buccal, along := frame.U, frame.T
			if r3.Dot(along, r3.Vec{Y: -1}) < 0 { // both sites lie behind: mesial is forward
				along = r3.Scale(-1, along)
			}
			for k, q := range []quantity.Name{LevelMesial, LevelDistal, LevelBuccal, LevelLingual} {
				dir := r3.Scale([]float64{1, -1, 1, -1}[k], []r3.Vec{along, along, buccal, buccal}[k])
				row := rowOf(t, s, q, math.NaN())
				was, is := trueLevel(t, x.v.jaw, x.implants[i], dir, 0.9), trueLevel(t, x.v.again.Jaw, x.implants[i], dir, 0.9)
				name := s.ID + " " + string(q)
				require.NotNil(t, row.After, "%s: %s", name, row.Note)
				require.InDelta(t, is-was, row.Change.Value, row.Change.U(), name)
				require.Less(t, row.Change.U(), 0.6, name)
				require.InDelta(t, was, *row.Before, 0.3, name)
				require.InDelta(t, is, *row.After, 0.3, name)
				require.Contains(t, row.Note, "blooming hides what is nearer")
				require.Equal(t, both, slices.Contains(names(row), "before: platform found along its axis"), "each from its own platform")
				require.Equal(t, !both, slices.Contains(names(row), "alignment at this place"), "one platform for both")
				switch {
				case s.ID == "36":
					require.Zero(t, math.Round(1e3*(is-was)))
					require.Equal(t, NoChange, row.Shown, name)
				case is-was > 0.7:
					require.Equal(t, Change, row.Shown, name)
				}
			}
		}
	}
}

// A safety rule: an alignment that nobody accepted leaves the level of bone at an implant uncertain, too; and what blooming hides is not
// assessed, whatever was found, and has no number.
func TestBoneLevelIsNotShownUnseen(t *testing.T) {
	x, err := standings[false]()
	require.NoError(t, err)
	placed, err := x.v.plan.Place(x.v.before.Volume.Grid, nil)
	require.NoError(t, err)
	c := &comparison{before: x.v.before, after: x.v.after, file: x.v.file, t: x.v.file.Transform, placed: placed, first: x.r.Before, second: x.r.After}
	at := x.r.Sites[1].Placed
	for _, row := range c.boneLevels(1, at, "") {
		require.Equal(t, NoChange, row.Shown)
	}
	c.file.Accepted = nil
	for _, row := range c.boneLevels(1, at, "") {
		require.Equal(t, Unsure, row.Shown)
	}
	c.file = x.v.file
	blooms := *at
	blooms.Found.Bloom = 1.2
	for _, row := range append(c.boneLevels(1, &blooms, ""), c.boneLevels(1, nil, "no implant found")...) {
		require.Equal(t, NotAssessed, row.Shown)
		require.Nil(t, row.After)
		require.Empty(t, row.Change.Budget)
		require.Regexp(t, "blooming and blur hide 1.[5-9] mm beside the implant|no implant found", row.Note)
	}
}

// A ridge that falls away beside the implant has no level at it that blooming lets be seen: none is told.
func TestBoneLevelBesideASlopeIsNotTold(t *testing.T) {
	c := &comparison{t: align.Identity("a"), file: align.File{Accepted: &align.Accepted{}}}
	row := Row{Shown: NotAssessed}
	steep, flat := stood{edge: 0.1, metal: true}, stood{edge: 0.1, metal: true}
	for _, s := range []*stood{&steep, &flat} {
		s.Axis, s.Diameter, s.Length = r3.Vec{Z: -1}, 4, 10
		s.bone = 500
	}
	steep.scan, flat.scan = slope(t, 2.5).Probe(), slope(t, 0).Probe()
	c.boneLevel(&row, flat, steep, r3.Vec{X: 1}, 1)
	require.Equal(t, NotAssessed, row.Shown)
	require.Regexp(t, `falls away beside the implant by [12]\.\d mm a millimetre`, row.Note) // voxels round its edge off
	row = Row{Shown: NotAssessed}
	c.boneLevel(&row, flat, flat, r3.Vec{X: 1}, 1)
	require.Equal(t, NoChange, row.Shown)
	require.InDelta(t, 0, *row.After, 0.05)
}

// slope is a block of bone whose upper side falls by so much a millimetre of x from x = 3 on, level 0 there.
func slope(t *testing.T, fall float64) *volume.Volume {
	t.Helper()
	v, err := volume.New(volume.Grid{Size: [3]int{60, 60, 120}, Origin: r3.Vec{X: -7, Y: -7, Z: -15}, Step: [3]r3.Vec{{X: 0.25}, {Y: 0.25}, {Z: 0.25}}})
	require.NoError(t, err)
	for i := range v.Stored {
		p := v.Patient(volume.Index{I: float64(i % 60), J: float64(i / 60 % 60), K: float64(i / 3600)})
		v.Stored[i] = int16(1500 * min(1, max(0, (-fall*(p.X-3)-p.Z)/0.25+0.5)))
	}
	return v
}

// Held-out jaws: bone lost at every other implant, by how much drawn, voxels of 0.3 to 0.4 mm, blooming of 0 to 0.3 mm, streaks: whether what is told of each side is
// within its U of the shape's own change, and what is shown. As many jaws as RIDGERULE_LONG says (two minutes each), from RIDGERULE_SEED on:
//
//	RIDGERULE_LONG=10 RIDGERULE_SEED=8100 go test -run HeldOutBoneLevels -v -timeout 3h ./measure/change
func TestHeldOutBoneLevels(t *testing.T) {
	jaws, err := strconv.Atoi(os.Getenv("RIDGERULE_LONG"))
	if err != nil || jaws < 1 {
		t.Skip("two minutes a jaw; set RIDGERULE_LONG to how many")
	}
	from, err := strconv.ParseUint(os.Getenv("RIDGERULE_SEED"), 10, 64)
	if err != nil {
		from = 8000
	}
	y := &levelTally{}
	for seed := from; seed < from+uint64(jaws); seed++ {
		v, implants, both := drawnImplants(t, seed)
		r, err := Compare(context.Background(), v.before, v.after, v.plan, nil, v.file, Options{Placed: true})
		require.NoError(t, err)
		placed, err := v.plan.Place(v.before.Volume.Grid, nil)
		require.NoError(t, err)
		c := &comparison{placed: placed, first: r.Before}
		for i, s := range r.Sites {
			if s.Placed == nil {
				t.Logf("seed %d, %s: %s", seed, s.ID, s.NotPlaced)
				continue
			}
			sides := c.sides(&r.Before.Sites[i])
			for k, q := range []quantity.Name{LevelMesial, LevelDistal, LevelBuccal, LevelLingual} {
				dir := []r3.Vec{sides.Mesial, r3.Scale(-1, sides.Mesial), sides.Buccal, r3.Scale(-1, sides.Buccal)}[k]
				truth := trueLevel(t, v.again.Jaw, implants[i], dir, 0.9) - trueLevel(t, v.jaw, implants[i], dir, 0.9)
				if row := rowOf(t, s, q, math.NaN()); !y.take(row, truth) {
					t.Logf("seed %d (both %v), %s %s: %+.2f ± %.2f, true %+.2f", seed, both, s.ID, q, row.Change.Value, row.Change.U(), truth)
				}
			}
		}
	}
	n := float64(y.told)
	t.Logf("%d sides, %d told: bias %+.3f mm, error %.3f mm RMS, u %.3f, within U in %d; no change shown in %d of %d unchanged; shown in %d of %d losses of 2 U and more",
		y.asked, y.told, y.bias/n, math.Sqrt(y.scatter/n), math.Sqrt(y.claimed/n), y.held, y.quiet, y.still, y.shown, y.large)
	require.GreaterOrEqual(t, float64(y.held), 0.9*n)
	require.GreaterOrEqual(t, float64(y.quiet), 0.93*float64(y.still))
	require.GreaterOrEqual(t, float64(y.shown), 0.95*float64(y.large))
}

// levelTally counts sides of implants: asked for, told, within U, unchanged and told so, lost by 2 U and shown.
type levelTally struct {
	asked, told, held, still, quiet, large, shown int
	bias, scatter, claimed                        float64 // sums, mm and mm²
}

// take counts one in; false: its error is more than its U.
func (y *levelTally) take(row Row, truth float64) bool {
	y.asked++
	if !row.Shown.Number() {
		return true
	}
	y.told++
	e, U := row.Change.Value-truth, row.Change.U()
	y.bias, y.scatter, y.claimed = y.bias+e, y.scatter+e*e, y.claimed+U*U/4
	switch {
	case math.Abs(truth) < 1e-3:
		y.still++
		if row.Shown == NoChange {
			y.quiet++
		}
	case truth >= 2*U:
		y.large++
		if row.Shown == Change {
			y.shown++
		}
	}
	if math.Abs(e) > U {
		return false
	}
	y.held++
	return true
}

// drawnImplants draws a lower jaw with implants, in both scans or in the second alone.
func drawnImplants(t *testing.T, seed uint64) (*visited, []phantom.Placed, bool) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 0x1e7e1))
	in := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	o := phantom.Random(seed, phantom.Mandible)
	a, b := in(0.3, 0.4), in(0.3, 0.4)
	o.Scan = phantom.Scan{Voxel: [3]float64{a, a, a}, Blur: in(0.2, 0.3), Noise: in(70, 130)}
	o.Hand, o.Sites = 0, []int{46, 44, 42, 32, 34, 36}
	bare, err := phantom.New(o)
	require.NoError(t, err)
	implants := bare.Places(seed)
	metal := phantom.Artefacts{Bloom: in(0, 0.3), Streaks: in(0, 120), Top: 4000}
	visit := phantom.Visit{Turn: r3.Vec{X: in(-6, 6), Y: in(-6, 6), Z: in(-6, 6)}, Shift: r3.Vec{X: in(-5, 5), Y: in(-5, 5), Z: in(-5, 5)}, Artefacts: metal,
		Scan: phantom.Scan{Voxel: [3]float64{b, b, b}, Blur: in(0.2, 0.35), Noise: in(70, 130), Seed: seed + 1000}}
	for i, s := range bare.Plan().Sites {
		if i%2 == 0 {
			visit.Changes = append(visit.Changes, phantom.Change{Tooth: s.Tooth, Crest: in(0.5, 2)})
		}
	}
	both := seed%2 == 1
	if both {
		o.Implants, o.Artefacts = implants, phantom.Artefacts{Bloom: in(0, 0.3), Streaks: in(0, 120), Top: 4000}
	} else {
		visit.Implants = implants
	}
	j, err := phantom.New(o)
	require.NoError(t, err)
	v := &visited{jaw: j}
	v.again, err = j.Again(visit)
	require.NoError(t, err)
	v.before.Volume, err = j.Volume(context.Background(), nil)
	require.NoError(t, err)
	v.after.Volume, err = v.again.Volume(context.Background(), nil)
	require.NoError(t, err)
	v.before.Facts, v.after.Facts = measure.Scan{SeriesHash: "a", Spacing: [3]float64{a, a, a}}, measure.Scan{SeriesHash: "b", Spacing: [3]float64{b, b, b}}
	var text bytes.Buffer
	require.NoError(t, bare.Plan().Write(&text))
	v.plan, _, err = plan.Read("plan.yaml", text.Bytes(), nil)
	require.NoError(t, err)
	v.file, err = v.trueAlignment()
	require.NoError(t, err)
	return v, implants, both
}
