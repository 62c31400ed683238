package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// Closed forms of outlines, lines through them, and of what a number owes to its section.

// In a field whose grey value is linear, along the arch too, the mean about a place is the grey value there, whichever way the axis runs.
func TestCoreOfALinearField(t *testing.T) {
	grey := func(p reformat.UV) float64 { return 300*p.U + 200*p.V }
	s := scene{voxel: 0.25, min: reformat.UV{U: -4, V: -8}, max: reformat.UV{U: 4, V: 2}, depth: 2, shear: 0.5}
	o := &Outline{field: s.field(t, grey)}
	for _, dir := range []reformat.UV{down, {U: 0.6, V: -0.8}} {
		for _, depth := range []float64{0.5, 2, 3.25} {
			a := Axis{Crest: reformat.UV{U: 0.3, V: -0.2}, Dir: dir}
			require.InDelta(t, grey(a.At(depth)), o.core(a, depth), 1)
		}
	}
}

// A rectangle's base lies its height below its crest, along a leaning axis as far as that line runs in it.
func TestBaseOfARectangle(t *testing.T) {
	corners := []reformat.UV{{U: -4, V: -20}, {U: 4, V: -20}, {U: 4}, {U: -4}}
	o := &Outline{Points: evenly(corners, 0.1)}
	o.Cut = make([]bool, len(o.Points))
	o.pace = 1 / o.longest()
	require.InDelta(t, 20, o.base(Axis{Crest: reformat.UV{U: 1}, Dir: down}), 0.02)
	require.InDelta(t, 20, o.reach(Axis{Crest: reformat.UV{U: 1}, Dir: down}), 0.02, "no cavity is known of")
	require.InDelta(t, 5/0.6, o.base(Axis{Crest: reformat.UV{U: -1}, Dir: reformat.UV{U: 0.6, V: -0.8}}), 0.05)
	require.Zero(t, o.base(Axis{Crest: reformat.UV{U: 9}, Dir: down}), "beside it")
	var depths []float64
	for d, h := range o.across(Axis{Crest: reformat.UV{U: 1}, Dir: down}) {
		depths = append(depths, d)
		require.InDelta(t, -5, h[0].s, 0.02)
		require.InDelta(t, 3, h[1].s, 0.02)
	}
	require.Equal(t, []float64{1, 2, 3, 4, 5, 6, 7, 8}, depths)
	for _, m := range o.coarseMids(Axis{Crest: reformat.UV{U: 1}, Dir: down}) {
		require.InDelta(t, 0, m.U, 0.02)
	}
	low := &Outline{Points: evenly([]reformat.UV{{U: -4, V: -5.5}, {U: 4, V: -5.5}, {U: 4}, {U: -4}}, 0.1)}
	low.Cut = make([]bool, len(low.Points))
	depths = nil
	for d := range low.across(Axis{Dir: down}) {
		depths = append(depths, d)
	}
	require.Equal(t, []float64{1, 2, 3, 4}, depths, "1 mm over the base at most")
}

// A ridge whose middle runs to buccal by 0.2 mm a mm along the arch, 4 mm from the curve: the section moved by 1 mm finds its middles 0.2 mm farther, turned by
// φ it finds them 0.2·4·φ farther, for there it lies 4·φ along. One that widens evenly about its middle moves none along, and turned by its width.
func TestMiddlesMoveWithTheirWalls(t *testing.T) {
	s := scene{voxel: 0.3, noise: 20, min: reformat.UV{U: -5, V: -16}, max: reformat.UV{U: 13, V: 5}, depth: 2, shear: 0.2}
	grey := bony(stadium(3.5, 20), inset(3.5, 20, 1.5), 0.25)
	r := learnt(t, s, func(p reformat.UV) float64 { return grey(sub(p, reformat.UV{U: 4})) })
	a, err := r.FindAxis(nil)
	require.NoError(t, err)
	m := r.middles(a)
	require.GreaterOrEqual(t, len(m.at), 6)
	sign := math.Copysign(1, m.moves[0].along)
	for i, v := range m.moves {
		require.InDelta(t, 4, m.at[i].U, 0.1)
		require.InDelta(t, 0.2*sign, v.along, 0.03)
		require.InDelta(t, 0.8*sign, v.turn, 0.1)
		low, high := m.chords[i].low, m.chords[i].high // the middle of two places is half as unsure as both together
		require.InDelta(t, math.Sqrt(low.sd*low.sd+high.sd*high.sd)/2, m.noise[i], 1e-12)
		rule := math.Hypot(r.layerTerm(m.chords[i].lowWall)/low.square, r.layerTerm(m.chords[i].highWall)/high.square)
		require.InDelta(t, rule/2, m.rule[i], 1e-12)
		shift := math.Hypot(r.shift(m.chords[i].lowWall)/low.square, r.shift(m.chords[i].highWall)/high.square)
		require.InDelta(t, shift/2, m.shift[i], 1e-12)
	}
}

// inset is a stadium's inside, that much behind its surface.
func inset(r, height, by float64) shape {
	in := stadium(r-by, height-2*by)
	return shape{in.base - by, in.top - by, func(v float64) (lo, hi float64) { return in.row(v + by) }}
}

// The spread of an axis through mid-points 1 mm apart, each ± s: s/√Σx²; half of what a rule may be off and three times of what a disturbance
// may be, in squares.
func TestSpreadOfAnAxisThroughItsMiddles(t *testing.T) {
	var m middles
	for d := range 5 {
		m.at = append(m.at, reformat.UV{V: -float64(d)})
		m.noise, m.rule, m.shift = append(m.noise, 0.1), append(m.rule, 0), append(m.shift, 0)
	}
	a := Axis{Dir: down, pivot: reformat.UV{V: -2}}
	require.InDelta(t, 0.1/math.Sqrt(10), m.spread(a), 1e-12)
	for i := range m.at {
		m.rule[i], m.shift[i] = 0.2, 0.3
	}
	require.InDelta(t, math.Sqrt((0.01+0.5*0.04+3*0.09)/10), m.spread(a), 1e-12)
	moves := make([]move, 5)
	for i := range moves {
		moves[i] = move{0.1 * float64(i), -0.3 * float64(i)}
	}
	along, turn := turnOfLine(m.at, moves, down, reformat.UV{V: -2})
	require.InDelta(t, 0.1, along, 1e-12)
	require.InDelta(t, -0.3, turn, 1e-12)
	along, turn = turnOfLine(m.at[:1], moves[:1], down, m.at[0])
	require.Zero(t, along)
	require.Zero(t, turn)
}

// A hole just as wide as one must be, and a rim just as thick as one may.
func TestHoleOnItsBounds(t *testing.T) {
	a := Axis{Dir: down}
	width, _, ok := comb(-7, [3]float64{-4, -0.75, 0}, [3]float64{0.75, 4, 0}).Socket(a)
	require.True(t, ok)
	require.InDelta(t, 1.5, width, 0)
	_, _, ok = comb(-7, [3]float64{-10, -2, 0}, [3]float64{2, 4, 0}).Socket(a)
	require.True(t, ok, "8 mm thick")
	_, _, ok = comb(-7, [3]float64{0, 4, 0}, [3]float64{8, 10, 0}).Socket(a)
	require.False(t, ok, "4 mm aside")
	_, depth, ok := comb(-2.75, [3]float64{-4, -2, 0}, [3]float64{2, 4, 0}).Socket(a)
	require.True(t, ok)
	require.InDelta(t, 2.5, depth, 0.26)
}

// A hole is followed for 15 mm.
func TestHoleDeeperThanItIsFollowed(t *testing.T) {
	_, depth, ok := comb(-18, [3]float64{-4, -2, 0}, [3]float64{2, 4, 0}).Socket(Axis{Dir: down})
	require.True(t, ok)
	require.InDelta(t, 14.5, depth, 1e-12, "from 0.25 to 14.75 mm")
}

// An axis is where it stays: through its own mid-points again, it turns by less than any number shows. A ridge that leans and narrows takes
// more than one step to come there.
func TestAxisStaysWhereItIsFound(t *testing.T) {
	grey := turned(bony(tapered(20), tapered(18.5), 0.25), 0.35)
	o := learnt(t, around(20, 0.3, 20), grey)
	a, err := o.FindAxis(nil)
	require.NoError(t, err)
	turn, pull := o.settle(a, o.middles(a))
	require.InDelta(t, 0, turn, 1e-6, "pull %g", pull)
	crest := a
	require.NoError(t, o.fineCrest(&crest, a.pivot))
	require.InDelta(t, 0, norm(sub(crest.Crest, a.Crest)), 1e-6)
}

// tapered is a ridge that widens from 4 to 10 mm over its height, bent to one side.
func tapered(height float64) shape {
	return shape{-height, height - 20, func(v float64) (lo, hi float64) {
		d := height - 20 - v
		half := math.Min(1, d) * (2 + 3*d/20)
		middle := 0.01 * d * d
		return middle - half, middle + half
	}}
}

// The foot of a place on a regular polygon lies on its side, and the bone's outward direction there is the middle's.
func TestFootOnAPolygon(t *testing.T) {
	o := &Outline{}
	for i := range 12 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 12)
		o.Points = append(o.Points, reformat.UV{U: 4 * cos, V: 4 * sin})
	}
	o.Cut = make([]bool, 12)
	for _, f := range []float64{0.25, 0.5, 0.9} {
		q := add(scale(1-f, o.Points[2]), scale(f, o.Points[3]))
		square := unit(add(o.Points[2], o.Points[3]))
		at, out, away := o.foot(add(q, scale(1.5, square)))
		require.InDelta(t, 1.5, away, 1e-9)
		require.InDelta(t, 0, norm(sub(at, q)), 1e-9)
		require.InDelta(t, 1, dot(out, unit(q)), 1e-12)
	}
}

// raster is a section of w by h pixels of step mm, its middle the origin, whose grey value is known at every place.
func raster(w, h int, step float64, grey func(p reformat.UV) float64) reformat.Section {
	s := reformat.Section{Width: w, Height: h, Step: step, Corner: reformat.UV{U: -step * float64(w-1) / 2, V: step * float64(h-1) / 2}, Grey: make([]float32, w*h)}
	s.Frame.U.X, s.Frame.V.Z, s.Frame.T.Y = 1, 1, 1
	for i := range s.Grey {
		s.Grey[i] = float32(grey(s.Place(float64(i%w), float64(i/w))))
	}
	return s
}

// A cortex of 2 mm around dark marrow, open by 0.8 mm on one side, is closed and filled: all of the bone, not its ring alone. As much of one that is
// open by 6 mm is the ring.
func TestOpenCortexIsFilled(t *testing.T) {
	ringed := func(gap float64) float64 {
		s := raster(100, 100, 0.25, func(p reformat.UV) float64 {
			if d := norm(p); d < 6 && d > 4 && !(p.U > 0 && math.Abs(p.V) < gap/2) {
				return 1000
			}
			return 0
		})
		filled, level, ok := bone(newCoarse(s), math.Inf(-1))
		require.True(t, ok)
		require.True(t, level > 0 && level < 1000, level)
		return float64(filled.count()) * 0.25 * 0.25
	}
	require.InEpsilon(t, math.Pi*36, ringed(0.8), 0.05)
	require.Less(t, ringed(6), 0.8*math.Pi*36)
}

// The coarse line runs where the grey value passes its level, all round, also where the bone ends just at the raster's border.
func TestCoarseLineOnAllSides(t *testing.T) {
	box := func(p reformat.UV) float64 { // linear over the last mm: 500 at U ± 3.95, V ± 6.9
		return 1000 * math.Max(0, math.Min(1, math.Min(3.95-math.Abs(p.U), 6.9-math.Abs(p.V))+0.5))
	}
	s := raster(60, 80, 0.25, box)
	o := &Outline{level: 500, seen: s}
	filled, _ := newCoarse(s).boneAt(500, 0)
	require.NoError(t, o.draw(s, filled))
	low, high := reformat.UV{U: 99, V: 99}, reformat.UV{U: -99, V: -99}
	for i, p := range o.Points {
		low = reformat.UV{U: math.Min(low.U, p.U), V: math.Min(low.V, p.V)}
		high = reformat.UV{U: math.Max(high.U, p.U), V: math.Max(high.V, p.V)}
		require.False(t, o.Cut[i])
	}
	for got, want := range map[float64]float64{low.U: -3.95, high.U: 3.95, low.V: -6.9, high.V: 6.9} {
		require.InDelta(t, want, got, 0.01)
	}
	require.InEpsilon(t, 7.9*13.8, area(o.Points), 0.01)
	narrow := raster(32, 80, 0.25, box) // 8 mm: to the middles of its last pixels the bone fills it
	filled, _ = newCoarse(narrow).boneAt(500, 0)
	o = &Outline{level: 500, seen: narrow}
	require.NoError(t, o.draw(narrow, filled))
	for i, p := range o.Points {
		if math.Abs(p.V) < 6 {
			require.Equal(t, math.Abs(p.U) > 3.5, o.Cut[i], "two pixels: %v", p)
		}
	}
}

// What a height owes to where and how its section lies: the crest falls along the arch, the far end rises, and the axis, which turns with
// the section, takes the far end with it.
func TestHeightBudgetByHand(t *testing.T) {
	o := (&Outline{}).Fit()
	w := &SurfacePatch{}
	w.p[pST] = 0.06
	a := Axis{Crest: reformat.UV{U: 2}, Dir: down, DirSD: 0.03, DirAlong: 0.02, DirTurn: 0.1, crestWall: w, crestSquare: 0.5}
	o.Outline.field = scene{voxel: 0.3, min: reformat.UV{U: -1, V: -1}, max: reformat.UV{U: 1, V: 1}, depth: 1}.field(t, func(reformat.UV) float64 { return soft })
	w.p[pG1] = 1
	b := o.HeightBudget(a, 15, Far{At: reformat.UV{U: 3, V: -15}, Slope: 0.2, PerTurn: 5}, Placement{Position: 0.4, Rotation: 0.02, Tilt: 0.04, Scale: 0.005})
	part := func(name string) float64 { return term(t, b, name).Contribution() }
	require.InDelta(t, 0.05*5, part("axis direction"), 1e-12, "3 and 4 hundredths together")
	require.InDelta(t, 0.4*(0.12+0.2-5*0.02), part("section place along the arch"), 1e-12)
	require.InDelta(t, 0.02*(0.12*2+0.2*3-5*0.1), part("section direction"), 1e-12)
	require.InDelta(t, 15*uncertainty.Rectangular(0.005), part("scale of the scan"), 1e-12)
}

// A straight wall that the field cuts far down may hide a hollow past its end, and says so; one with a hollow, or with its own end, does not.
func TestWallPastTheField(t *testing.T) {
	has := func(outer shape, end float64) (value float64, said bool) {
		inner := shape{outer.base + 1.5, -1.5, func(v float64) (lo, hi float64) { lo, hi = outer.row(v); return lo + 1.5, hi - 1.5 }}
		s := scene{voxel: 0.3, noise: 30, min: reformat.UV{U: -9, V: end}, max: reformat.UV{U: 11, V: 5}, depth: 2}
		o, a := trace(t, s.field(t, bony(outer, inner, 0.25)))
		u, err := o.Undercut(a, true, math.Inf(1), Placement{})
		require.NoError(t, err)
		for _, k := range u.Budget {
			said = said || k.Name == "wall past the field"
		}
		return u.Value, said
	}
	value, said := has(stadium(4, 40), -24)
	require.Less(t, value, 0.1)
	require.Equal(t, value == 0, said)
	value, said = has(shape{-40, 0, lipped}, -30)
	require.Greater(t, value, 0.8)
	require.False(t, said)
	value, said = has(stadium(4, 24), -32)
	require.Less(t, value, 0.1)
	require.False(t, said, "its own end is seen")
}

// A line through more stretches of bone than it keeps still finds the one it starts in.
func TestLineThroughManyStretches(t *testing.T) {
	var teeth [][3]float64
	for i := range 20 {
		teeth = append(teeth, [3]float64{float64(2 * i), float64(2*i) + 1, 0})
	}
	o := comb(-7, teeth...)
	low, high := o.Near(reformat.UV{U: 0.5, V: -3}, reformat.UV{U: 1})
	require.InDelta(t, -0.5, low, 1e-9)
	require.InDelta(t, 0.5, high, 1e-9)
}
