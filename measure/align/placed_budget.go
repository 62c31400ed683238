package align

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/fit"
)

// found says what was found, and how well.
func (b *bodyFit) found(last *fit.Equations) (FoundImplant, error) {
	cov, ok := b.covariance(last)
	if !ok {
		return FoundImplant{}, fmt.Errorf("%w: the surface of the bright body is not seen all round", ErrNoImplant)
	}
	coronal, apical := b.beside(coronalEnd), b.beside(apicalEnd)
	if least := b.at[placedMetal] - max(coronal.grey, apical.grey); least < metalLeast {
		return FoundImplant{}, fmt.Errorf("%w: the body near its planned place is brighter than what lies at its end by only %.0f", ErrNoImplant, least)
	}
	std := func(q int) float64 { return math.Sqrt(cov.At(q, q)) }
	out := FoundImplant{Implant: Implant{Axis: b.axis, Diameter: b.want.Diameter, Apex: b.want.Apex, Length: b.want.Length}}
	out.Bloom, out.Ends = b.at[placedBloom], b.at[placedEnds]
	out.Platform = r3.Sub(b.middle, r3.Scale(b.want.Length/2, b.axis))
	odd := math.Abs(out.Ends - out.Bloom)
	out.Along = math.Sqrt(square(std(placedAlong)) + square(odd/math.Sqrt(3)) + square(b.unsureEnds(coronal, apical)))
	out.Across = max(std(placedU), std(placedW))
	out.Lean = max(std(placedLeanU), std(placedLeanW)) * 180 / math.Pi
	if odd > 0.5 {
		out.Cautions = append(out.Cautions, fmt.Sprintf("the body found is %.1f mm long and %.1f mm wide where one of %.1f × %.1f mm was planned: another size, or metal on its platform; depths and apices are less sure", b.want.Length+2*out.Ends, b.want.Diameter+2*out.Bloom, b.want.Length, b.want.Diameter))
	}
	return out, nil
}

// beyond is what lies outside an end.
type beyond struct{ grey, rise float64 } // grey values at the surface, and by how much more a mm

// beside returns what lies outside an end, the mean of its patches.
func (b *bodyFit) beside(on face) (out beyond) {
	n := 0.0
	for at, i := range b.patches {
		if at.face == on {
			n++
			out.grey, out.rise = out.grey+b.outside[i][0], out.rise+b.outside[i][1]
		}
	}
	return beyond{out.grey / n, out.rise / n}
}

// unsureEnds returns how far the middle may be off because what lies outside an end is no straight line, standard, mm. Right at the
// end it may still be what lies at the other one (bone that ends within a blur of the platform), or what the line is
// one blur farther out. Half of an edge's place hangs on what lies outside, and half of the middle's on either end:
//
//	moved = ½·off·blur·√2π/(metal − outside)
func (b *bodyFit) unsureEnds(coronal, apical beyond) float64 {
	blur := b.at[placedBlur]
	end := func(e beyond) float64 {
		off := math.Hypot(e.rise*blur/math.Sqrt(3), (coronal.grey-apical.grey)/math.Sqrt(12))
		return off / 2 * blur * math.Sqrt(2*math.Pi) / (b.at[placedMetal] - e.grey)
	}
	return math.Hypot(end(coronal), end(apical)) / 2
}
