package plan

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/safety"
)

// rowOf places teeth by number and by how far to the patient's left they lie on an arch whose midline is at 100 mm: "36@37 46@-37".
func rowOf(t *testing.T, text string) (all []numbered) {
	t.Helper()
	for i, one := range strings.Fields(text) {
		number, at, _ := strings.Cut(one, "@")
		var left float64
		_, err := fmt.Sscan(at, &left)
		require.NoError(t, err)
		tooth, ok := ToothOf(number)
		require.True(t, ok)
		all = append(all, numbered{i: i, t: tooth, arc: 100 + left, left: left})
	}
	return all
}

// numbersPlan has sites for numbered teeth; a standing root and many sites leave the bounds as the tables have them.
func numbersPlan(jaw Jaw, sites int, roots ...safety.Structure) *Placed {
	p := &Placed{Contents: Contents{Jaw: jaw, Sites: make([]Site, max(sites, 10)), Structures: roots}}
	for i := range p.Sites {
		p.Sites[i].ID = fmt.Sprintf("s%d", i+1)
	}
	p.Sites = p.Sites[:sites]
	return p
}

var standingRoot = safety.Structure{Name: "r", Kind: safety.Root}

// codesOf are the doubts as "code site".
func codesOf(all []Doubt) []string {
	out := []string{}
	for _, d := range all {
		out = append(out, strings.TrimSpace(d.Code+" "+d.Site))
	}
	return out
}

// The bounds of the places are the table's (its ends belong to it), mirrored on the right, 4 mm wider where no root stands or few sites are.
func TestPlacesByTheTable(t *testing.T) {
	l := Landmarks{midline: 100, doubt: 1, Leftward: 1}
	for _, c := range []struct {
		p     *Placed
		teeth string // one tooth, at each place
		asked bool
	}{
		{numbersPlan(Mandible, 6, standingRoot), "36@23 36@49 46@-23 46@-49", false},
		{numbersPlan(Mandible, 6, standingRoot), "36@22.5 36@49.5 46@-22.5 46@-49.5", true},
		{numbersPlan(Mandible, 5, standingRoot), "36@19 36@53 46@-19 46@-53", false},
		{numbersPlan(Mandible, 5, standingRoot), "36@18.5 36@53.5 46@-18.5 46@-53.5", true},
		{numbersPlan(Mandible, 6), "36@19 36@53", false},
		{numbersPlan(Mandible, 6, safety.Structure{Kind: safety.Root, PlannedRemoval: true}), "36@19 36@53", false},
		{numbersPlan(Mandible, 6, safety.Structure{Kind: safety.Canal}), "36@19 36@53", false},
		// A front tooth may stand a little across the midline.
		{numbersPlan(Mandible, 6, standingRoot), "31@-5 41@5 31@11", false},
		{numbersPlan(Maxilla, 6, standingRoot), "21@-4 11@4 21@12 11@-12", false},
		{numbersPlan(Maxilla, 6, standingRoot), "21@12.5 11@-12.5", true},
	} {
		for _, n := range rowOf(t, c.teeth) {
			got := codesOf(c.p.checkPlaces([]numbered{n}, l))
			if c.asked {
				assert.Equal(t, []string{"place " + c.p.Sites[n.i].ID}, got, "%v at %g", n.t, n.left)
			} else {
				assert.Empty(t, got, "%v at %g", n.t, n.left)
			}
		}
	}
}

// A number is of the other side only where it lies across the midline by more than the midline may be wrong; nearer it is out of its place.
func TestOtherSideIsPastTheMidlinesDoubt(t *testing.T) {
	p := numbersPlan(Mandible, 6, standingRoot)
	l := Landmarks{midline: 100, doubt: 5, Leftward: 1}
	for teeth, want := range map[string]string{"46@3": "place", "46@5": "place", "46@5.5": "side", "36@-3": "place", "36@-5": "place", "36@-5.5": "side"} {
		n := rowOf(t, teeth)
		got := p.checkPlaces(n, l)
		require.Len(t, got, 1, teeth)
		assert.Equal(t, want, got[0].Code, teeth)
		if want == "side" {
			assert.Contains(t, got[0].Text, ", 5.5 mm from the midline", teeth)
			assert.True(t, got[0].refuse, "a wrong side is an error")
		}
	}
	// The others say that the midline lies 4 mm to the right of where it was taken: 6 mm across may be 2.
	row := rowOf(t, "36@-6 36@32.5 35@23.5 46@-40.5 45@-31.5")
	assert.Equal(t, []string{"place s1"}, codesOf(p.checkPlaces(row, l)))
	// And 3 mm to the left of it: 3 mm across may be 6. One of the two is not enough.
	row = rowOf(t, "36@-3 36@39.5 35@30.5 46@-33.5 45@-24.5")
	assert.Equal(t, []string{"place s1"}, codesOf(p.checkPlaces(row, l)))
}

// What both sides' numbers say of the midline is believed as far as the midline may be wrong. An arch drawn too far out moves both sides
// apart and no midline.
func TestMidlineShift(t *testing.T) {
	l := Landmarks{midline: 100, doubt: 5, Leftward: 1}
	for _, c := range []struct {
		teeth string
		want  float64
	}{
		{"36@39.5 46@-33.5", 3},                 // all 3 mm to the left
		{"36@33.5 46@-39.5", -3},                // to the right
		{"36@39.5 46@-39.5", 0},                 // apart
		{"36@45.5 46@-27.5", 5},                 // 9 mm: not believed so far
		{"36@27.5 46@-45.5", -5},                //
		{"36@39.5 35@30.5", 0},                  // one side says nothing of it
		{"46@-39.5", 0},                         //
		{"36@38.5 35@31.5 46@-33.5", 3},         // 2 and 4: their middle, 3
		{"36@37.5 35@30.5 34@30.8 46@-33.5", 3}, // 1, 3 and 10: the median, 3
	} {
		assert.InDelta(t, c.want, midlineShift(rowOf(t, c.teeth), l, Mandible), 1e-9, c.teeth)
	}
	// Both jaws' quarters moved by as much as a found midline may be off: nothing is asked.
	p := numbersPlan(Mandible, 6, standingRoot)
	assert.Empty(t, p.checkPlaces(rowOf(t, "37@64 36@40.5 46@-32.5 47@-43.2"), l), "37 at 60 by the midline that all of them say")
	assert.Empty(t, p.checkPlaces(rowOf(t, "47@-64 46@-40.5 36@32.5 37@43.2"), l))
	assert.Equal(t, []string{"place s1"}, codesOf(p.checkPlaces(rowOf(t, "37@64"), l)), "alone it says nothing of the midline")
}

// Teeth stand as far apart as the table of gaps adds up to, 4 mm to either side, and 4 more where no root stands: for 36 and 37 from
// 9.0 − 4 to 12.4 + 4 mm; for 34 and 36 from 2.7 + 7.5 − 4 to 8.2 + 10.5 + 4 mm.
func TestGapsByTheTable(t *testing.T) {
	sure, loose := numbersPlan(Mandible, 6, standingRoot), numbersPlan(Mandible, 6)
	for _, c := range []struct {
		p     *Placed
		teeth string
		asked bool
	}{
		{sure, "36@30 37@35", false}, {sure, "36@30 37@34.9", true}, {sure, "36@30 37@46.3", false}, {sure, "36@30 37@46.5", true},
		{sure, "34@20 36@26.3", false}, {sure, "34@20 36@26.1", true}, {sure, "34@20 36@42.6", false}, {sure, "34@20 36@42.8", true},
		{loose, "36@30 37@31", false}, {loose, "36@30 37@50.3", false}, {loose, "36@30 37@50.5", true},
		{loose, "32@10 34@13", false}, {loose, "32@10 34@12.9", true}, // 4.3 + 3.6 − 8 < 3: but two teeth need 3 mm
		{loose, "34@10 35@10", false},                             // a site between two teeth
		{sure, "36@30 36@30", false}, {sure, "41@-1 31@1", false}, // one tooth; two sides
		{sure, "47@-46.5 46@-30", true}, {sure, "47@-46.3 46@-30", false},
	} {
		got := codesOf(c.p.checkGaps(rowOf(t, c.teeth)))
		if c.asked {
			assert.Equal(t, []string{"gap s1", "gap s2"}, got, c.teeth)
		} else {
			assert.Empty(t, got, c.teeth)
		}
	}
	assert.Contains(t, sure.checkGaps(rowOf(t, "36@30 37@34.9"))[0].Text, "lies 4.9 mm along the arch from tooth 37, where 5.0 to 16.4 mm are usual")
}

// Along the chart from the patient's right to the left each number is one tooth further; there is no tooth between the two first ones.
func TestRankStepsAreTheChart(t *testing.T) {
	for _, row := range []string{"48 47 46 45 44 43 42 41 31 32 33 34 35 36 37 38", "18 17 16 15 14 13 12 11 21 22 23 24 25 26 27 28"} {
		chart := strings.Fields(row)
		for i := range chart {
			for k := range chart {
				a, _ := ToothOf(chart[i])
				b, _ := ToothOf(chart[k])
				assert.Equal(t, k-i, rankSteps(a, b), "%v to %v", a, b)
			}
		}
	}
}

// Neighbours' numbers may stand on one place within half a tooth, 4 mm; others not.
func TestOutOfOrder(t *testing.T) {
	for teeth, want := range map[string]bool{
		"34@20 35@27": false, "35@20 34@27": true, "35@20 34@23.9": false, "35@20 34@24": true, "36@20 34@23": true, "36@20 34@20": true, "34@20 34@27": false,
		"41@-3 31@3": false, "31@-3 41@3": true, "31@-1 41@1": false, "34@27 35@20": false,
	} {
		row := rowOf(t, teeth)
		assert.Equal(t, want, outOfOrder(row[0], row[1]), teeth)
	}
}

// The site to blame is the one with most wrong neighbours, and of two alike the later one in the plan. A nearly straight arch
// may run either way: the numbers decide.
func TestOrderBlamesOneSite(t *testing.T) {
	sorted := func(text string, order ...int) []numbered {
		row := rowOf(t, text)
		for k, i := range order {
			row[k].i = i
		}
		return row
	}
	p := numbersPlan(Mandible, 6)
	bent, straight := Landmarks{turn: nearlyStraight}, Landmarks{turn: nearlyStraight - 0.01}
	got := p.checkOrder(rowOf(t, "33@14 34@21 32@25 35@30 36@37"), bent)
	require.Equal(t, []string{"order s3"}, codesOf(got))
	assert.Contains(t, got[0].Text, "tooth 32 stands on the wrong side of tooth 34, 4.0 mm from it")
	assert.True(t, got[0].refuse)
	assert.Equal(t, []string{"order s2"}, codesOf(p.checkOrder(sorted("36@28 35@37", 0, 1), bent)))
	assert.Equal(t, []string{"order s2"}, codesOf(p.checkOrder(sorted("36@28 35@37", 1, 0), bent)))
	for _, right := range []string{"34@20 35@28 36@37", "36@20 35@28 34@37"} {
		assert.Empty(t, p.checkOrder(rowOf(t, right), straight), right)
	}
	assert.NotEmpty(t, p.checkOrder(rowOf(t, "36@20 35@28 34@37"), bent))
	assert.Len(t, p.checkOrder(rowOf(t, "34@20 36@28 35@37"), straight), 1)
}

// Where there is no midline, a number is of the other side where the arch runs by more than 30° the other way, on a circle past 30°.
func TestNumbersOfTheOtherDirection(t *testing.T) {
	l := landmarksOf(t, Mandible, circle(-45, 42.5))
	require.False(t, l.Known())
	p := numbersPlan(Mandible, 6)
	for _, c := range []struct {
		number string
		angle  float64
		wrong  bool
	}{{"36", 25, false}, {"36", -25, false}, {"36", -29, false}, {"36", -32, true}, {"46", -25, false}, {"46", 25, false}, {"46", 29, false}, {"46", 32, true}, {"36", 40, false}, {"46", -40, false}} {
		n := rowOf(t, c.number+"@0")
		n[0].arc = l.curve.Length() * (c.angle + 45) / 87.5
		got := codesOf(p.checkDirection(n, l))
		if c.wrong {
			assert.Equal(t, []string{"side s1"}, got, "%s at %g°", c.number, c.angle)
		} else {
			assert.Empty(t, got, "%s at %g°", c.number, c.angle)
		}
	}
	straight := landmarksOf(t, Mandible, circle(40, 60))
	n := rowOf(t, "46@0")
	n[0].arc = straight.curve.Length() / 2
	assert.Empty(t, p.checkDirection(n, straight), "20° of turn tell no inside")
	bent := landmarksOf(t, Mandible, circle(37.5, 65))
	n[0].arc = bent.curve.Length() / 2
	assert.NotEmpty(t, p.checkDirection(n, bent))
}

// How far a turned arch is turned is said.
func TestTurnedArchSaysByHowMuch(t *testing.T) {
	for _, turned := range []float64{60, 90, -120, 180} {
		_, err := checkText(t, planText(archOf(turned), "mandible", "", []string{"36@37"}))
		require.Error(t, err)
		_, said, _ := strings.Cut(err.Error(), "is turned by about ")
		var degrees float64
		_, err = fmt.Sscan(said[:strings.Index(said, "°")], &degrees)
		require.NoError(t, err)
		assert.InDelta(t, math.Abs(turned), degrees, 1.5, "the midline is found to half a millimetre, about a degree")
	}
}

// The number in a root's name holds it against the row, unless the name bears two numbers or its words contradict the number.
func TestNamedTooth(t *testing.T) {
	p := &Placed{Contents: Contents{Jaw: Mandible}}
	for name, want := range map[string]string{"root 36": "36", "left 36": "36", "root 36 (36)": "36", "root 36 37": "", "right 36": "", "16": "", "root": "", "root 310": "", "root 319": "", "r36a": "36"} {
		got, ok := p.namedTooth(safety.Structure{Name: name, Kind: safety.Root})
		assert.Equal(t, want != "", ok, name)
		if ok {
			assert.Equal(t, want, got.String(), name)
		}
	}
	_, ok := p.namedTooth(safety.Structure{Name: "canal 36", Kind: safety.Canal})
	assert.False(t, ok, "a canal has no tooth's place")
	for name, want := range map[string]Side{"left canal": Left, "Right": Right, "right, RIGHT": Right, "left and right": "", "canal": "", "aright": "", "zleft": "", "lefta": "", "rightz": "", "": ""} {
		assert.Equal(t, want, sideIn(name), name)
	}
	assert.Equal(t, []Side{Right, Left}, []Side{other(Left), other(Right)})
}

// Roots on a nearly straight arch may run either way; where they contradict each other they are told, with their distance.
func TestNumberedRootsOnANearlyStraightArch(t *testing.T) {
	at := func(a float64) []r3.Vec { return []r3.Vec{circle(a, a)[0]} }
	roots := func(numbers ...string) *Placed {
		p := &Placed{Contents: Contents{Jaw: Mandible, Arch: circle(40, 60)}, Occlusal: r3.Vec{Z: 1}}
		require.NoError(t, p.lay())
		for i, n := range numbers {
			p.Structures = append(p.Structures, safety.Structure{Name: "root " + n, Kind: safety.Root, Path: at(42 + 8*float64(i))})
		}
		return p
	}
	for _, right := range [][]string{{"34", "35", "36"}, {"36", "35", "34"}} {
		p := roots(right...)
		assert.Empty(t, p.checkRoots(nil, p.Landmarks), right)
	}
	p := roots("34", "37", "35")
	p.Landmarks.turn = nearlyStraight
	got := p.checkRoots(nil, p.Landmarks)
	require.Len(t, got, 2)
	assert.Equal(t, "root 37", got[0].Structure)
	assert.Contains(t, got[0].Text, fmt.Sprintf("wrong side of tooth 35, %.1f mm from it", 30*8*3.14159265/180), "8° of a circle of 30 mm")
	p = roots("36", "35", "34")
	p.Landmarks.turn = nearlyStraight
	assert.Len(t, p.checkRoots(nil, p.Landmarks), 3, "a curve that turns shows its inside")
}
