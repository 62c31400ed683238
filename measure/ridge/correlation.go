package ridge

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/fit"
	"ridgerule/measure/reformat"
)

// Noise that is correlated from voxel to voxel. A fit's covariance counts every voxel as an independent
// sample; filters of the reconstruction, and streaks and rings too, make neighbours alike. How much they
// are is read off the fits' own residuals, along the grid's three axes,
// and the covariance gets the terms that independent voxels lack:
//
//	cov = A⁻¹ + A⁻¹·(Σ over i≠j of ρ(i−j)·Jᵢ·Jⱼᵀ/s²)·A⁻¹,   ρ(a, b, c) = ρ₁(a)·ρ₂(b)·ρ₃(c)
//
// with A the normal matrix, J a voxel's derivatives and s the noise.
//
// Source: the covariance of least squares with correlated errors, JCGM 100:2008, equation 13.

// lagMost is how many voxels apart residuals are compared: noise of cone-beam scans is correlated
// over one or two. Our choice.
const lagMost = 3

// farLag is the distance, mm, over which noise is no longer correlated but streaks, rings and
// layers that are not as the model has them still are: the width of a patch. Our choice.
const farLag = 0.9

// lags sums the products of residuals 1…lagMost voxels apart along each axis of the grid, and,
// last, of those about farLag apart.
type lags struct {
	product, count [3][lagMost + 1]float64
	power, n       float64
}

// gridLags returns the index distances, in the grid's flat order, at which residuals are compared.
func gridLags(f reformat.Field) (steps [3][lagMost + 1]int) {
	spacing := f.Spacing()
	for a, stride := range f.Strides() {
		for d := range lagMost {
			steps[a][d] = (d + 1) * stride
		}
		steps[a][lagMost] = max(2, int(math.Round(farLag/spacing[a]))) * stride
	}
	return steps
}

func (l *lags) add(o lags) {
	l.power += o.power
	l.n += o.n
	for a := range 3 {
		for d := range l.product[a] {
			l.product[a][d] += o.product[a][d]
			l.count[a][d] += o.count[a][d]
		}
	}
}

// correlation is ρ at 0…lagMost voxels along each axis.
type correlation [3][lagMost + 1]float64

// independent is the correlation below which voxels count as independent: three standard
// deviations of what chance gives in the few thousand pairs of a series' sampled walls.
const independent = 0.05

// correlation returns what the sums say; what chance alone may give is nothing.
func (l *lags) correlation() (c correlation) {
	for a := range 3 {
		c[a][0] = 1
		for d := range lagMost {
			if c[a][d+1] = l.rho(a, d); c[a][d+1] == 0 {
				break
			}
		}
	}
	return c
}

// rho returns the correlation along axis a at the d-th distance, 0 where chance alone may give it.
func (l *lags) rho(a, d int) float64 {
	if l.count[a][d] < 30 || l.power <= 0 {
		return 0
	}
	r := l.product[a][d] / l.count[a][d] * l.n / l.power
	if r < math.Max(independent, 3/math.Sqrt(l.count[a][d])) {
		return 0
	}
	return math.Min(r, 1)
}

// apart calls do with the pairs (i, j) of samples whose voxels lie away apart in the grid's flat order. The
// samples must be in that order, as [reformat.Field.Near] leaves them.
func apart(samples []reformat.VoxelSample, away int, do func(i, j int)) {
	j := 0
	for i := range samples {
		want := samples[i].Voxel + away
		for j < len(samples) && samples[j].Voxel < want {
			j++
		}
		if j == len(samples) {
			return
		}
		if samples[j].Voxel == want {
			do(i, j)
		}
	}
}

// residualLags sums the products of the wall's residuals along the grid's axes, each residual held to
// ±huber·noise. The sums run in the voxels' order: the same scan gives the same bits.
func (w *SurfacePatch) residualLags(steps [3][lagMost + 1]int) (l lags) {
	r := make([]float64, len(w.seen))
	most, h := huber*w.noise, w.p.bends()
	for i, g := range w.seen {
		r[i] = math.Max(-most, math.Min(most, g.Grey-w.p.grey(g, h)))
		l.power += r[i] * r[i]
	}
	l.n = float64(len(r))
	for a := range steps {
		for d, step := range steps[a] {
			product, count := 0.0, 0.0
			apart(w.seen, step, func(i, j int) {
				product += r[i] * r[j]
				count++
			})
			l.product[a][d], l.count[a][d] = product, count
		}
	}
	return l
}

// window returns the samples that lie where the fit looked.
func (o *estimate) window(all []reformat.VoxelSample) []reformat.VoxelSample {
	kept := make([]reformat.VoxelSample, 0, len(all))
	for _, g := range all {
		if g.N >= o.low && g.N <= o.high {
			kept = append(kept, g)
		}
	}
	return kept
}

// judge holds the fit's residuals against independent noise, gives its covariance what they lack,
// and lets go of the voxels.
func (w *SurfacePatch) judge(f reformat.Field, t ImageModel) {
	w.lags = w.residualLags(gridLags(f))
	w.marrow = w.texture(t)
	own := w.lags.correlation()
	for a := range own { // what the series says, or what this place says louder
		for d := range own[a] {
			own[a][d] = math.Max(own[a][d], t.correlation[a][d])
		}
	}
	w.more = w.fit.excess(&w.p, w.cov, own, f.Strides())
	w.fit, w.seen = layerFit{}, nil
}

// texture returns how much the grey values behind the plate vary beyond noise, as an SD: trabeculae.
func (w *SurfacePatch) texture(t ImageModel) float64 {
	if !w.plate {
		return 0
	}
	noise := w.noise
	if t.known() {
		noise = math.Min(noise, t.Noise)
	}
	h, far := w.p.bends(), w.p[pE]+1.5*w.p[pSigma] // where the blurred edge has all but gone: Φ(1.5) = 0.93
	var off []float64
	for _, g := range w.seen {
		if g.N-w.p.depth(g.X) > far { // as far as the patch is flat: it only says which voxels look on
			off = append(off, math.Abs(g.Grey-w.p.grey(g, h)))
		}
	}
	return beyond(fit.Scatter(off), noise)
}

// neighbour is a voxel some strides away and the noise's correlation with it.
type neighbour struct {
	away int
	rho  float64
}

// neighbours returns one half of the voxels whose noise is correlated with that of a voxel; the
// other half lies opposite.
func (c correlation) neighbours(strides [3]int) []neighbour {
	var out []neighbour
	for k := -lagMost; k <= lagMost; k++ {
		for j := -lagMost; j <= lagMost; j++ {
			for i := -lagMost; i <= lagMost; i++ {
				rho := c[0][abs(i)] * c[1][abs(j)] * c[2][abs(k)]
				first := k > 0 || k == 0 && (j > 0 || j == 0 && i > 0)
				if first && rho >= 0.02 {
					out = append(out, neighbour{i*strides[0] + j*strides[1] + k*strides[2], rho})
				}
			}
		}
	}
	return out
}

func abs(i int) int { return max(i, -i) }

// excess returns what the covariance lacks when noise has the correlation c; nil: nothing.
func (l *layerFit) excess(p *params, cov *mat.SymDense, c correlation, strides [3]int) *mat.SymDense {
	near := c.neighbours(strides)
	if len(near) == 0 {
		return nil
	}
	n := len(l.active)
	rows := l.derivatives(p)
	sums := mat.NewDense(len(l.samples), n, nil)
	from, to := rows.RawMatrix().Data, sums.RawMatrix().Data
	for _, o := range near {
		apart(l.samples, abs(o.away), func(i, j int) {
			sum, row := to[i*n:(i+1)*n], from[j*n:(j+1)*n]
			for k := range sum {
				sum[k] += o.rho * row[k]
			}
		})
	}
	var pairs, half, all mat.Dense
	pairs.Mul(rows.T(), sums)
	half.Mul(cov, &pairs)
	all.Mul(&half, cov)
	more := mat.NewSymDense(n, nil)
	for k := range n {
		for m := k; m < n; m++ {
			more.SetSym(k, m, all.At(k, m)+all.At(m, k))
		}
	}
	return more
}

// derivatives returns the model's derivatives in noise SDs: a row for each grain, a column for each
// active parameter.
func (l *layerFit) derivatives(p *params) *mat.Dense {
	rows, h := mat.NewDense(len(l.samples), len(l.active), nil), p.bends()
	for i, g := range l.samples {
		grad := p.derivatives(g, h)
		row := rows.RawRowView(i)
		for k, param := range l.active {
			row[k] = grad[param] / l.noise
		}
	}
	return rows
}

// correlated returns the variance along j that independent voxels lack; never less than none, for a
// correlation known to a few voxels only is no reason to be surer.
func (w *SurfacePatch) correlated(j mat.Vector) float64 {
	if w.more == nil {
		return 0
	}
	return math.Max(0, mat.Inner(j, w.more, j))
}

// beyond returns the SD that makes less to more, in their unit; 0 where more is less.
func beyond(more, less float64) float64 { return math.Sqrt(math.Max(0, more*more-less*less)) }
