package align

import (
	"math"

	"ridgerule/measure/fit"

	"gonum.org/v1/gonum/spatial/r3"
)

// The mutual information of two scans at a set of points, and its slope by the motion. Grey values of the first scan are
// counted with linear windows, those of the second with cubic B-splines, so that the count has a slope everywhere:
//
//	I(μ) = Σ over bins p(i, k) · log(p(i, k) / (p(i)·p(k)))
//	dI/dμ = Σ over points (1/N) Σ over bins w(i) · dβ(k)/dm · log(p(i, k)/p(k)) · ∇m · dT/dμ
//
// Source: Thévenaz P, Unser M. IEEE Trans Image Process 2000;9:2083–2099. doi:10.1109/83.887976 (from memory);
// Mattes D et al. IEEE Trans Med Imaging 2003;22:120–128. doi:10.1109/TMI.2003.809072 (from memory).

const (
	bins    = 32 // grey steps of either scan; our choice: half or double moves the result by a tenth of its scatter
	margins = 2  // bins beyond either end, which a cubic window reaches
	columns = bins + 2*margins
	perPart = 4000 // points that are added up together; the parts are added in one order, whatever the number of processors
)

// sample is a point of the first scan with its grey value in it.
type sample struct {
	p     r3.Vec  // mm
	bin   int     // linear window: bin with weight 1−f, bin+1 with weight f
	f     float64 // 0 to 1
	block int     // the brick it lies in
}

// span is the range of grey values that the bins divide; what lies beyond counts as its end, so that metal is one grey.
type span struct{ low, high float64 }

// bin returns the place of a grey value among the bins, 0 to bins−1, and whether it lies within the range.
func (s span) bin(grey float64) (x float64, within bool) {
	x = (grey - s.low) / (s.high - s.low) * (bins - 1)
	return max(0, min(bins-1, x)), x > 0 && x < bins-1
}

// information is the mutual information of the points of the first scan and the second scan, as a function of motion.
type information struct {
	samples []sample
	second  *image
	greys   span    // of the second scan
	blocks  int     // how many blocks the points belong to
	floor   float64 // mm: [commonError] of the larger voxel
}

// joint is the count of a pair of grey values, not yet divided by N.
type joint [bins + 1][columns]float64

// spline returns the four weights of the cubic B-spline at bins k … k+3 for the place x, and their slopes by x.
func spline(x float64) (k int, w, slope [4]float64) {
	k = int(x)
	f := x - float64(k)
	g := 1 - f
	w = [4]float64{g * g * g / 6, (4 - 6*f*f + 3*f*f*f) / 6, (4 - 6*g*g + 3*g*g*g) / 6, f * f * f / 6}
	slope = [4]float64{-g * g / 2, (3*f*f - 4*f) / 2, (4*g - 3*g*g) / 2, f * f / 2}
	return k + margins - 1, w, slope
}

// reading is what one point sees in the second scan.
type reading struct {
	x      float64 // place among the bins
	slope  r3.Vec  // of x, bins per mm; zero beyond the range
	inside bool
}

// read asks the second scan at every point moved by m.
func (n *information) read(m motion, out []reading) {
	n.parts(func(_, from, to int) {
		for i := from; i < to; i++ {
			out[i] = n.readOne(m.apply(n.samples[i].p))
		}
	})
}

// readOne asks the second scan at its own point q.
func (n *information) readOne(q r3.Vec) reading {
	grey, slope, ok := n.second.at(q)
	x, within := n.greys.bin(grey)
	if !within {
		slope = r3.Vec{}
	}
	return reading{x, r3.Scale((bins-1)/(n.greys.high-n.greys.low), slope), ok}
}

// parts calls f for each part of the points.
func (n *information) parts(f func(part, from, to int)) {
	count, parts := len(n.samples), n.number()
	fit.Each(parts, func(part int) { f(part, part*count/parts, (part+1)*count/parts) })
}

// number returns how many parts the points have.
func (n *information) number() int { return 1 + len(n.samples)/perPart }

// count adds up the pairs of grey values of all points in both fields, and returns how many those are.
func (n *information) count(seen []reading) (*joint, float64) {
	all, number := make([]joint, n.number()), make([]float64, n.number())
	n.parts(func(part, from, to int) {
		h := &all[part]
		for i := from; i < to; i++ {
			s := &n.samples[i]
			if !seen[i].inside {
				continue
			}
			k, w, _ := spline(seen[i].x)
			low, high := h[s.bin][k:k+4], h[s.bin+1][k:k+4]
			for t := range 4 {
				low[t] += (1 - s.f) * w[t]
				high[t] += s.f * w[t]
			}
			number[part]++
		}
	})
	sum, total := &all[0], number[0]
	for part := 1; part < len(all); part++ {
		for i := range sum {
			for k := range sum[i] {
				sum[i][k] += all[part][i][k]
			}
		}
		total += number[part]
	}
	return sum, total
}

// logs returns the mutual information in nats and, for every pair of bins, log(p(i, k)/p(k)).
func (j *joint) logs(total float64) (nats float64, table joint) {
	var rows [bins + 1]float64
	var cols [columns]float64
	for i := range j {
		for k, v := range j[i] {
			rows[i] += v
			cols[k] += v
		}
	}
	for i := range j {
		for k, v := range j[i] {
			if v > 0 {
				table[i][k] = math.Log(v / cols[k])
				nats += v / total * (table[i][k] - math.Log(rows[i]/total))
			} else if cols[k] > 0 {
				table[i][k] = math.Log(1e-3 / (cols[k] + 1)) // no such pair was met: as rare as one in a thousand points more
			}
		}
	}
	return nats, table
}

// value returns the mutual information after m, nats (no unit), and the share of the points that lie in both fields.
func (n *information) value(m motion) (nats, share float64) {
	seen := make([]reading, len(n.samples))
	n.read(m, seen)
	h, total := n.count(seen)
	if total == 0 {
		return 0, 0
	}
	nats, _ = h.logs(total)
	return nats, total / float64(len(seen))
}

// slopes are the slopes of the mutual information by the parameters of a further motion about m's centre, one a block of
// points; their sum is that of all.
type slopes [][params]float64

// at returns the mutual information after m, nats (no unit), and its slopes, block by block.
func (n *information) at(m motion) (nats float64, by slopes) {
	seen := make([]reading, len(n.samples))
	n.read(m, seen)
	by = make(slopes, n.blocks)
	h, total := n.count(seen)
	if total == 0 {
		return 0, by
	}
	nats, table := h.logs(total)
	all := make([]slopes, n.number())
	n.parts(func(part, from, to int) {
		own := make(slopes, n.blocks)
		for i := from; i < to; i++ {
			if !seen[i].inside || seen[i].slope == (r3.Vec{}) {
				continue
			}
			_, pull := n.samples[i].fits(&table, seen[i].x)
			g := r3.Scale(pull/total, seen[i].slope)
			r := r3.Sub(m.apply(n.samples[i].p), m.to)
			turn := r3.Cross(r, g) // g·(ω×r) = ω·(r×g)
			a := &own[n.samples[i].block]
			for q, v := range [params]float64{turn.X, turn.Y, turn.Z, g.X, g.Y, g.Z, r3.Dot(g, r)} {
				a[q] += v
			}
		}
		all[part] = own
	})
	for _, own := range all {
		for b := range own {
			for q, v := range own[b] {
				by[b][q] += v
			}
		}
	}
	return nats, by
}

// sum returns the slope of all blocks together.
func (s slopes) sum() (all [params]float64) {
	for b := range s {
		for q, v := range s[b] {
			all[q] += v
		}
	}
	return all
}

// fits returns what the table says of the point at place x among the bins, and its slope by x.
func (s *sample) fits(table *joint, x float64) (value, slope float64) {
	k, w, d := spline(x)
	low, high := table[s.bin][k:k+4], table[s.bin+1][k:k+4]
	for t := range 4 {
		both := (1-s.f)*low[t] + s.f*high[t]
		value += w[t] * both
		slope += d[t] * both
	}
	return value, slope
}
