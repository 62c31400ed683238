package ridge

import (
	"fmt"
	"math"

	"ridgerule/measure/fit"
)

// Signs of motion. A scan of a patient who moved is the mean of copies some tenths of a millimetre apart: edges along
// the movement are sharp, those across it wide or doubled, and a doubled one is like no wall of the series' bone.

// From 42 synthetic jaws, sharp and with a second copy of 40 or 50 %, 0.9 to 1.4 mm off: of the sharp none is called
// moved; of the doubled 40 of 42 lower and 16 of 24 upper ones, whose thin walls tell less. At 0.6 mm none is.
const (
	likeCortex = 0.3  // of the step to cortex: how far the grey values of a wall may lie from the stations' own
	surelyWide = 0.15 // SD of a blur that counts, as a share of it

	manyWide, fewWide = 1.28, 1.32 // times the lower quartile: the blur that 15 %, 10 % of the walls exceed
	oneWayWide        = 1.2        // times another direction's blur
	mostLost          = 0.6        // share of the walls at a lower jaw's base that may be unlike: it is thick
	mostLostOneWay    = 0.94       // of the walls that face one way, where more than usualLike of others' are alike
	usualLike         = 0.4        // share of the walls of another way
	mostLostAll       = 0.87       // of all walls

	fewestWide, fewestOneWay, fewestFacing, fewestBase, fewestAsked = 15, 5, 12, 10, 80 // walls, for each of these
)

// facing are the walls that face one way: how many were asked, and the blur of those that are like the series' bone, mm.
type facing struct {
	asked int
	blur  []float64
}

func (f facing) like() float64 { return float64(len(f.blur)) / float64(max(1, f.asked)) }

// The ways that walls face: the base of the jaw, and left or right, front or back.
const (
	faceBase = iota
	faceAside
	faceAhead
	faces
)

// Motion says by what sign the patient seems to have moved while the series was taken; empty: by none. lower: the
// stations are of a lower jaw, whose base is thick everywhere.
func Motion(stations []Station, lower bool) string { return facings(stations).motion(lower) }

func (w allFacings) motion(lower bool) string {
	all := facing{}
	for _, f := range w {
		all.asked += f.asked
		all.blur = append(all.blur, f.blur...)
	}
	switch wide, uneven := all.wide(), w.uneven(); {
	case wide > 1:
		return fmt.Sprintf("one in ten edges of the bone is drawn apart to %.1f times the width of the sharp ones", wide)
	case uneven > oneWayWide:
		return fmt.Sprintf("edges that face one way are %.1f times as wide as those that face another", uneven)
	case lower && w[faceBase].asked >= fewestBase && w[faceBase].like() < 1-mostLost,
		w[faceAside].lostBeside(w[faceAhead]), w[faceAhead].lostBeside(w[faceAside]),
		all.asked >= fewestAsked && all.like() < 1-mostLostAll:
		return fmt.Sprintf("at %d of %d places the edge of the bone is none of a single, sharp bone", all.asked-len(all.blur), all.asked)
	}
	return ""
}

type allFacings [faces]facing

// facings sorts the walls of all stations by the way they face.
func facings(stations []Station) (w allFacings) {
	c := coarseOf(stations)
	for _, st := range stations {
		for k, wall := range st.fitted {
			face, known := st.face(k)
			if !st.asked[k] || !known {
				continue
			}
			w[face].asked++
			if wall != nil && wall.spread(only(pSigma)) <= surelyWide*wall.p[pSigma] && c.like(wall) {
				w[face].blur = append(w[face].blur, wall.p[pSigma])
			}
		}
	}
	return w
}

// face returns which way the k-th of stationWalls faces in the patient; not known of a side wall that was not fitted.
func (st *Station) face(k int) (face int, known bool) {
	w := st.fitted[k]
	switch {
	case math.IsInf(stationWalls[k].depth, 1):
		return faceBase, true
	case w == nil:
		return 0, false
	}
	if n := st.outline.field.Direction(w.in); math.Abs(n.X) > math.Abs(n.Y) {
		return faceAside, true
	}
	return faceAhead, true
}

// like reports whether a wall's grey values, outside and in the plate, are those beside the stations' coarse outlines.
func (c coarseLevels) like(w *SurfacePatch) bool {
	most := likeCortex * (c.cortex - c.soft)
	return math.Abs(w.p[pG1]-c.cortex) < most && math.Abs(w.p[pG0]-c.soft) < most
}

// wide returns the blur of the tenth of the walls that are widest in that of the sharp ones, where it is far above; else 0.
func (f facing) wide() float64 {
	if len(f.blur) < fewestWide {
		return 0
	}
	low := fit.Quantile(f.blur, 0.25)
	if few := fit.Quantile(f.blur, 0.9) / low; few > fewWide || fit.Quantile(f.blur, 0.85)/low > manyWide {
		return few
	}
	return 0
}

// uneven returns the median blur of the way that is widest over that of the sharpest; 1 where none tells.
func (w allFacings) uneven() float64 {
	least, most := math.Inf(1), 0.0
	for _, f := range w {
		if len(f.blur) >= fewestOneWay {
			blur := fit.Median(f.blur)
			least, most = math.Min(least, blur), math.Max(most, blur)
		}
	}
	if most == 0 {
		return 1
	}
	return most / least
}

// lostBeside reports whether hardly a wall that faces this way is alike, where many that face another are.
func (f facing) lostBeside(other facing) bool {
	return f.asked >= fewestFacing && other.asked >= fewestFacing && f.like() < 1-mostLostOneWay && other.like() >= usualLike
}
