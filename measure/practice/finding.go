package practice

import (
	"fmt"
	"math"
	"slices"

	"ridgerule/measure/fit"

	"gonum.org/v1/gonum/stat/distuv"
)

// Finding is one way in which a reader errs throughout.
type Finding struct {
	Kind  string // "bias", "scatter", "line", "blunders"
	Words string
}

// leansFrom is the median angle, deg, from which a reader's lines are called leaning: lines are laid to some 2°.
const leansFrom = 6.0

// findingsOf names the ways in which a reader errs, from lengths: lines that lean, then a bias and a scatter of
// what is left when the line is taken off, then blunders that neither line nor scatter accounts for. One cause is
// told once: a leaning line is no bias as well.
func findingsOf(s *Summary) []Finding {
	var edges, leans []float64
	for _, k := range s.Marks {
		if k.Value == nil || k.Unit != "mm" {
			continue
		}
		if k.Lean != nil {
			leans = append(leans, math.Abs(*k.Lean))
		}
		edges = append(edges, k.edge())
	}
	if len(edges) < fewest {
		return nil
	}
	var out []Finding
	if lean := fit.Median(leans); len(leans) >= fewest && lean >= leansFrom {
		out = append(out, Finding{"line", fmt.Sprintf("lines lean: half of them %.0f° or more from the one asked for; find the axis before the length", lean)})
	}
	middle := fit.Median(slices.Clone(edges))
	off := make([]float64, len(edges))
	for i, e := range edges {
		off[i] = math.Abs(e - middle)
	}
	scale := fit.Scatter(off) // an SD, were the errors normal
	kept := slices.DeleteFunc(slices.Clone(edges), func(e float64) bool { return math.Abs(e-middle) > apart(scale, s.Rules) })
	if len(kept) < fewest {
		return out
	}
	n := float64(len(kept))
	mean, sd := meanOf(kept), sdOf(kept)
	half := distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile(0.975) * sd / math.Sqrt(n)
	if math.Abs(mean)-half > s.Rules.Bias {
		out = append(out, Finding{"bias", fmt.Sprintf("reads %s throughout (mean of %d)", signed(mean, "mm"), len(kept))})
	}
	if low := sd * math.Sqrt((n-1)/distuv.ChiSquared{K: n - 1}.Quantile(0.975)); low > s.Rules.SD {
		out = append(out, Finding{"scatter", fmt.Sprintf("readings scatter by %.1f mm (SD of %d)", sd, len(kept))})
	}
	if blunders := len(edges) - len(kept); blunders > 0 {
		out = append(out, Finding{"blunders", blunderWords(blunders, len(edges))})
	}
	return out
}

func blunderWords(n, of int) string {
	if n == 1 {
		return fmt.Sprintf("1 of %d is a blunder: look at it; it is kept out of bias and scatter", of)
	}
	return fmt.Sprintf("%d of %d are blunders: look at each; they are kept out of bias and scatter", n, of)
}

// apart is how far from the median an error is a blunder: beyond the rule, and beyond four SDs of the reader's own
// scatter, which a normal error passes once in 16 000.
func apart(scale float64, r Rules) float64 { return max(r.Blunder, 3*r.Least, 4*scale) }

// edge is the error without the reader's line; the whole error where the line is not known.
func (k *Mark) edge() float64 {
	if k.Edge != nil {
		return *k.Edge
	}
	return k.Error
}

// sdOf has the divisor n−1, in the unit of x.
func sdOf(x []float64) float64 {
	m, sum := meanOf(x), 0.0
	for _, v := range x {
		sum += (v - m) * (v - m)
	}
	return math.Sqrt(sum / float64(len(x)-1))
}
