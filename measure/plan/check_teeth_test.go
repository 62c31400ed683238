package plan

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// archOf is an invented lower arch, half an ellipse and a little more, 54 mm wide, from the patient's right to
// the left, turned about the vertical by degrees.
func archOf(degrees float64) []r3.Vec {
	var out []r3.Vec
	turn := r3.NewRotation(degrees*math.Pi/180, r3.Vec{Z: 1})
	for i := -13; i <= 13; i++ {
		a := float64(i) / 13 * 95 * math.Pi / 180
		out = append(out, turn.Rotate(r3.Vec{X: 27 * math.Sin(a), Y: -38 * math.Cos(a)}))
	}
	return out
}

// planText writes a plan with sites "tooth@mm from the midline, left positive"; extra goes with the site of
// the same index.
func planText(arch []r3.Vec, jaw string, top string, sites []string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "format: 1\ncase: a\njaw: %s\n%sarch:\n  points:\n", jaw, top)
	length := 0.0
	for i, p := range arch {
		fmt.Fprintf(&b, "    - [%.6f, %.6f, %.6f]\n", p.X, p.Y, p.Z)
		if i > 0 {
			length += r3.Norm(r3.Sub(p, arch[i-1]))
		}
	}
	b.WriteString("sites:\n")
	for i, s := range sites {
		var tooth string
		var at float64
		extra := ""
		if head, tail, more := strings.Cut(s, ";"); more {
			s, extra = head, ", "+tail
		}
		_, err := fmt.Sscanf(strings.Replace(s, "@", " ", 1), "%s %f", &tooth, &at)
		if err != nil {
			panic(err)
		}
		fmt.Fprintf(&b, "  - {tooth: %q, id: s%d, arc_mm: %.3f%s}\n", tooth, i+1, length/2+at, extra)
	}
	return b.String()
}

// checkText reads and checks a plan; what comes back are the codes of its cautions about sites, and its
// errors.
func checkText(t *testing.T, text string) (codes []string, err error) {
	t.Helper()
	p, source, err := Read("plan.yaml", []byte(text), nil)
	if err != nil {
		return nil, err
	}
	found, err := p.Check(source)
	for _, c := range found {
		codes = append(codes, c.Code+" "+c.Site)
	}
	return codes, err
}

// Places of teeth along the ridge on either side: crowns summed up, textbook means (second-hand).
var lowerPlaces = map[int]float64{1: 2.5, 2: 7.8, 3: 14, 4: 21, 5: 28, 6: 37, 7: 47}

func TestRightNumbersAreNotAskedAbout(t *testing.T) {
	for _, turned := range []float64{-20, 0, 20} {
		var sites []string
		for n := 7; n >= 1; n-- {
			sites = append(sites, fmt.Sprintf("4%d@%g", n, -lowerPlaces[n]))
		}
		for n := 1; n <= 7; n++ {
			sites = append(sites, fmt.Sprintf("3%d@%g", n, lowerPlaces[n]+2))
		}
		codes, err := checkText(t, planText(archOf(turned), "mandible", "", sites))
		assert.NoError(t, err)
		assert.Empty(t, codes)
	}
	// Several candidates for one tooth; a site between two teeth with either number, in any order of the list.
	codes, err := checkText(t, planText(archOf(0), "mandible", "", []string{"36@37", "36@35", "36@39", "35@32.6", "36@32", "44@-21"}))
	assert.NoError(t, err)
	assert.Empty(t, codes)
}

func TestWrongNumbersAreFound(t *testing.T) {
	for name, c := range map[string]struct {
		sites []string
		err   string // part of the error; empty: none
		code  string // a caution that there must be
	}{
		"side":                   {[]string{"46@37"}, `tooth 46 is the lower right first molar, but lies on the patient's left`, ""},
		"other notation":         {[]string{"31@37"}, "", "place s1"},
		"a molar as 31, right":   {[]string{"31@-47"}, `31 in the 1–32 notation is 47, lower right second molar`, ""},
		"order":                  {[]string{"34@21", "35@37", "36@28"}, `stands on the wrong side of tooth`, ""},
		"order, quadrant gone":   {[]string{"44@-14", "47@-21"}, "", "gap s1"},
		"two teeth off":          {[]string{"34@41", "44@-21"}, "", "place s1"},
		"two numbers, one place": {[]string{"34@28", "36@29"}, "", "gap s1"},
	} {
		t.Run(name, func(t *testing.T) {
			codes, err := checkText(t, planText(archOf(0), "mandible", "", c.sites))
			if c.err != "" {
				assert.ErrorContains(t, err, c.err)
				return
			}
			assert.NoError(t, err)
			assert.Contains(t, codes, c.code)
		})
	}
}

// An arch that is turned against the header's right and left agrees with its own teeth, and with no patient.
func TestTurnedArchIsRefused(t *testing.T) {
	for turned, wrong := range map[float64]bool{0: false, 30: false, -30: false, 90: true, -90: true, 180: true} {
		for _, half := range []bool{false, true} {
			arch, mark, site := archOf(turned), "", "36@37"
			if half { // a quadrant and its midline
				arch = arch[13:]
				mark, site = fmt.Sprintf("  midline: [%g, %g, %g]\n", arch[0].X, arch[0].Y, arch[0].Z), "36@10"
			}
			text := strings.Replace(planText(arch, "mandible", "", []string{site}), "arch:\n", "arch:\n"+mark, 1)
			_, err := checkText(t, text)
			if !wrong {
				assert.NoError(t, err, "%g, %v", turned, half)
				continue
			}
			assert.ErrorContains(t, err, "the arch is turned by about", "%g, %v", turned, half)
			_, err = checkText(t, strings.Replace(text, "arch:", "orientation_note: a model on a table\narch:", 1))
			assert.NoError(t, err, "%g, %v", turned, half)
		}
	}
}

// A short arch of the molars that ends before the midline, which is marked in front of it, runs back there and is right.
func TestArchThatEndsBeforeTheMidlineIsNotTurned(t *testing.T) {
	whole := archOf(0)
	front := whole[13]
	text := strings.Replace(planText(whole[18:], "mandible", "", []string{"36@0;confirmed: [place]"}), "arch:\n", fmt.Sprintf("arch:\n  midline: [%g, %g, %g]\n", front.X, front.Y, front.Z), 1)
	_, err := checkText(t, text)
	assert.NotContains(t, fmt.Sprint(err), "the arch is turned")
}

// A quadrant has no midline: side and place are not checked, and it is said; the order is, and so is where
// the arch plainly runs as on the other side.
func TestQuadrantHasNoMidline(t *testing.T) {
	left := archOf(0)[15:]
	text := func(sites ...string) string { return planText(left, "mandible", "", sites) }
	codes, err := checkText(t, text("36@0", "34@-15"))
	assert.NoError(t, err)
	assert.Equal(t, []string{"place_not_checked "}, codes)
	_, err = checkText(t, text("34@0", "36@-15"))
	assert.ErrorContains(t, err, "on the wrong side of")
	_, err = checkText(t, text("46@8"))
	assert.ErrorContains(t, err, "the arch runs there as on the patient's left")
	codes, err = checkText(t, planText(left, "mandible", "", []string{"36@0"})+"")
	assert.NoError(t, err)
	assert.Equal(t, []string{"place_not_checked "}, codes)
}

// What a person looked at is silenced by its own name, said in every output, and nothing else is.
func TestConfirmationsSilenceOneFinding(t *testing.T) {
	at := func(extra, top string) string {
		return planText(archOf(0), "mandible", top, []string{"46@37;" + extra})
	}
	_, err := checkText(t, at("confirmed: [side]", ""))
	assert.ErrorContains(t, err, "orientation_note", "a side can be confirmed only where the plan says how the patient lies")
	codes, err := checkText(t, at("confirmed: [side]", "orientation_note: mirrored on purpose\n"))
	assert.NoError(t, err)
	assert.Equal(t, []string{"confirmed_side s1"}, codes)
	_, err = checkText(t, at("confirmed: [place, order]", "orientation_note: a\n"))
	assert.Error(t, err, "another word silences nothing")

	codes, err = checkText(t, planText(archOf(0), "mandible", "", []string{"36@37;confirmed: [place, axis]"}))
	assert.NoError(t, err)
	assert.Equal(t, []string{"confirmed_nothing s1"}, codes, "axis is asked only with pixels")
	codes, err = checkText(t, planText(archOf(0), "mandible", "", []string{"34@41;confirmed: [place]"}))
	assert.NoError(t, err)
	assert.Equal(t, []string{"confirmed_place s1"}, codes)
}

// The midline is where the two halves of the curve mirror each other, however the head was turned, and
// where the plan says it is.
func TestMidlineOfAnArch(t *testing.T) {
	for _, turned := range []float64{-30, 0, 15} {
		for _, flip := range []bool{false, true} {
			arch := archOf(turned)
			if flip {
				for i, j := 0, len(arch)-1; i < j; i, j = i+1, j-1 {
					arch[i], arch[j] = arch[j], arch[i]
				}
			}
			p, _, err := Read("plan.yaml", []byte(planText(arch, "mandible", "", []string{"31@1"})), nil)
			require.NoError(t, err)
			placed := settled(t, p)
			curve, l := placed.Curve, placed.Landmarks
			// The apex lies at half the length by symmetry; the curve is flat there, to a sample.
			assert.InDelta(t, curve.Length()/2, l.midline, archSamples)
			left, _ := curve.Project(arch[3])
			want := Right
			if flip {
				want = Left
			}
			assert.Equal(t, want, l.Side(left))
		}
	}
}

// Structures written in centimetres lie about the origin, beside every arch; a canal that runs on past the
// arch's end does not.
func TestStructureFarFromTheArch(t *testing.T) {
	canal := func(scale float64) string {
		text := planText(archOf(0), "mandible", "", []string{"36@37"}) + "structures:\n  - {name: left canal, kind: canal, radius_mm: 1.5, path: ["
		for i, p := range archOf(0)[20:] {
			if i > 0 {
				text += ", "
			}
			text += fmt.Sprintf("[%g, %g, %g]", p.X*scale, p.Y*scale, (p.Z-15)*scale)
		}
		return text + fmt.Sprintf(", [%g, %g, %g]", 26*scale, 20*scale, -10*scale) + "]}\n"
	}
	codes, err := checkText(t, canal(1))
	assert.NoError(t, err)
	assert.NotContains(t, codes, "structure_off_arch ")
	codes, err = checkText(t, canal(0.1))
	assert.NoError(t, err)
	assert.Contains(t, codes, "structure_off_arch ")
}

// Half an arch that runs a little past the midline turns by a right angle and more, and shows no midline; what lies
// on the jaw's other side, far across, is not beside it.
func TestHalfAnArchShowsNoMidline(t *testing.T) {
	half := append([]r3.Vec{{X: -27, Y: 30}, {X: -27, Y: 15}}, archOf(0)[:16]...)
	text := planText(half, "mandible", "", []string{"46@0"}) +
		"structures:\n  - {name: nerve, kind: canal, radius_mm: 1.5, path: [[26, 20, -15], [26, 24, -15], [26, 28, -15]]}\n"
	p, _, err := Read("plan.yaml", []byte(text), nil)
	require.NoError(t, err)
	l := settled(t, p).Landmarks
	assert.Greater(t, l.turn, leastTurning, "else another rule decides")
	assert.False(t, l.Known())
	codes, err := checkText(t, text)
	require.NoError(t, err)
	assert.NotContains(t, codes, "structure_off_arch ")
}
