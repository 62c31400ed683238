package ridge

import (
	"fmt"
	"math"
	"slices"
)

// Signs of motion. A scan of a patient who moved is the mean of copies some tenths of a millimetre apart: edges across
// the movement stay sharp, edges along it are wide or doubled, and doubled ones fit no wall of the series' bone at all.

// From whole and quarter jaws with and without a second copy of 40 % 0.9 mm off (docs/accuracy-hard.md): of 60 sharp
// scans none, of 48 doubled ones two thirds are called moved.
const (
	likeCortex = 0.3  // of the step to cortex: how far grey values of a wall may lie from the stations' own
	surelyWide = 0.15 // SD of a blur that counts, as a share of it

	manyWide, fewWide = 1.28, 1.32 // times the lower quartile: blur above which 15 %, 10 % of the walls show motion
	fewestWalls       = 15
	leastLike         = 0.24 // share of the walls that must be alike at all
	fewestAsked       = 80   // for that; a small field in an upper jaw has few walls with bone behind
)

// sharpness is what the stations' walls say of the series' edges.
type sharpness struct {
	asked, alike int
	many, few    float64 // blur at 85 % and 90 % of the walls that are alike, in lower quartiles; NaN: too few
}

// sharpnessOf judges the edges of all walls that the stations have.
func sharpnessOf(stations []Station, c coarseLevels) sharpness {
	s := sharpness{many: math.NaN(), few: math.NaN()}
	var blur []float64
	for _, st := range stations {
		s.asked += st.asked
		for _, w := range st.fitted {
			if w != nil && w.spread(only(pSigma)) <= surelyWide*w.p[pSigma] && c.like(w) {
				blur = append(blur, w.p[pSigma])
			}
		}
	}
	if s.alike = len(blur); s.alike >= fewestWalls {
		slices.Sort(blur)
		low := quantile(blur, 0.25)
		s.many, s.few = quantile(blur, 0.85)/low, quantile(blur, 0.9)/low
	}
	return s
}

// like reports whether a wall's grey values, outside and in the plate, are those beside the stations' coarse outlines.
func (c coarseLevels) like(w *Wall) bool {
	most := likeCortex * (c.cortex - c.soft)
	return math.Abs(w.p[pG1]-c.cortex) < most && math.Abs(w.p[pG0]-c.soft) < most
}

// motion says by what signs the patient seems to have moved; empty: by none.
func (s sharpness) motion() string {
	switch {
	case s.many > manyWide || s.few > fewWide:
		return fmt.Sprintf("one in ten of the bone's edges is drawn apart to %.1f times the sharp ones' width", s.few)
	}
	return ""
}
