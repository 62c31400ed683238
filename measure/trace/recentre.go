package trace

import (
	"context"
	"fmt"
	"math"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	rounds      = 4    // of fitting sections and smoothing; the path settles after three
	bend        = 0.02 // 1/mm; how fast a canal's direction drifts: 0.14 rad over a millimetre... see docs/trace.md
	widen       = 0.01 // 1/mm; the same for its radius
	anchorSD    = 1.0  // mm; how far from the rough path the centre may lie where sections tell nothing
	tangentSpan = 3    // sections each way
	typical     = 1.3  // mm, a usual canal radius; where the first fit starts
)

// centred is the path between rounds: even points with a fit at each.
type centred struct {
	points   []r3.Vec
	step     float64 // mm
	sections []*section
	fits     []fit
	sd, sdR  []float64 // of the fits, +Inf where there is none, mm
	x        [3]line   // smoothed centre
	r        line      // smoothed radius
}

// recentre moves the rough path onto the canal's centre and measures radius, uncertainty and
// confidence along it.
func recentre(ctx context.Context, s *sampler, rough, marks []r3.Vec, o Options) (*Path, error) {
	points := rough
	var c *centred
	for round := range rounds {
		cur, ok := newCurve(points)
		if !ok {
			return nil, fmt.Errorf("%w: the marks fall on one point of the canal; set them farther apart", ErrNoPath)
		}
		next := &centred{}
		next.points, next.step = cur.even(apartMM)
		if err := next.fitSections(ctx, s, c, round); err != nil {
			return nil, err
		}
		if err := next.smooth(marks, o); err != nil {
			return nil, err
		}
		c = next
		points = c.centres()
	}
	return c.path(o)
}

// centres returns the smoothed centre-line.
func (c *centred) centres() []r3.Vec {
	p := make([]r3.Vec, len(c.points))
	for i := range p {
		p[i] = r3.Vec{X: c.x[0].value[i], Y: c.x[1].value[i], Z: c.x[2].value[i]}
	}
	return p
}

// fitSections cuts the sections and fits a canal in each, starting from what the round before
// learnt about this canal.
func (c *centred) fitSections(ctx context.Context, s *sampler, before *centred, round int) error {
	n := len(c.points)
	c.sections, c.fits = make([]*section, n), make([]fit, n)
	t := tangents(c.points, tangentSpan)
	if err := parallel(ctx, n, func(i int) { c.sections[i] = newSection(s, c.points[i], t[i]) }); err != nil {
		return err
	}
	d := newDisc(math.Sqrt(0.2*0.2 + s.pitch*s.pitch/4))
	spread := c.spread()
	err := parallel(ctx, n, func(i int) {
		c.fits[i] = c.sections[i].fit(d, c.prior(before, i, spread))
	})
	c.precision()
	return err
}

func parallel(ctx context.Context, n int, f func(i int)) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(2)
	const chunk = 8
	for lo := 0; lo < n; lo += chunk {
		g.Go(func() error {
			for i := lo; i < min(n, lo+chunk); i++ {
				f(i)
			}
			return ctx.Err()
		})
	}
	return g.Wait()
}

// spread returns the usual standard deviation of grey value in a section: the scale of this
// picture's contrast, whatever its grey values mean. In grey values, without unit.
func (c *centred) spread() float64 {
	var sds []float64
	for _, q := range c.sections {
		if _, sd := q.mean(0, math.Inf(1)); !math.IsNaN(sd) {
			sds = append(sds, sd)
		}
	}
	return max(median(sds), 1)
}

// mean returns mean and standard deviation of the pixels between lo and hi mm from the path,
// in grey values.
func (c *section) mean(lo, hi float64) (mean, sd float64) {
	var n, sum, sq float64
	for _, p := range c.px {
		if rho := math.Hypot(p.x, p.y); rho >= lo && rho < hi {
			n, sum, sq = n+1, sum+p.grey, sq+p.grey*p.grey
		}
	}
	mean = sum / n
	return mean, math.Sqrt(max(sq/n-mean*mean, 0))
}

// prior returns what is known of the canal in section i before looking closely.
func (c *centred) prior(before *centred, i int, spread float64) prior {
	q := c.sections[i]
	inside, _ := q.mean(0, 0.7)
	ring, _ := q.mean(1.2, 2.4)
	out, _ := q.mean(2.2, math.Inf(1))
	p := prior{
		mean: model{mr: typical, mInside: inside, mWall: max(ring, inside+spread), mOut: out},
		sd:   model{0.8, 0.8, 0.4, spread, 3 * spread, 2 * spread, spread / 2, spread / 2},
	}
	if before != nil {
		at := min(len(before.points)-1, int(math.Round(float64(i)*float64(len(before.points)-1)/float64(max(1, len(c.points)-1)))))
		p.mean[mr], p.sd[mr] = before.r.value[at], 0.3
		p.sd[mx], p.sd[my] = 0.6, 0.6
		p.mean[mInside], p.sd[mInside] = before.usual(mInside), spread/4
		p.mean[mWall], p.sd[mWall] = before.usual(mWall), 2*spread
	}
	return p
}

// usual returns the median of one number of the model along the path.
func (c *centred) usual(k int) float64 {
	var x []float64
	for _, f := range c.fits {
		if f.ok {
			x = append(x, f.model[k])
		}
	}
	if len(x) == 0 {
		return 0
	}
	return median(x)
}

// smooth draws the centre-line and the radius through the fits. The marks at both ends are
// observations too, as firm as the user's hand.
func (c *centred) smooth(marks []r3.Vec, o Options) error {
	n := len(c.points)
	var obs [3][]float64
	v := make([]float64, n)
	for i, f := range c.fits {
		p := c.points[i]
		w := 1 / (anchorSD * anchorSD)
		if f.ok {
			k := 1 / (c.sd[i] * c.sd[i])
			q := c.sections[i].point(f.model[mx], f.model[my])
			p = r3.Scale(1/(w+k), r3.Add(r3.Scale(w, p), r3.Scale(k, q)))
			w += k
		}
		if end := i == 0 || i == n-1; end {
			m := marks[0]
			if i > 0 {
				m = marks[len(marks)-1]
			}
			k := 1 / (o.MarkSD * o.MarkSD)
			p = r3.Scale(1/(w+k), r3.Add(r3.Scale(w, p), r3.Scale(k, m)))
			w += k
		}
		v[i] = 1 / w
		obs[0], obs[1], obs[2] = append(obs[0], p.X), append(obs[1], p.Y), append(obs[2], p.Z)
	}
	for k := range obs {
		var ok bool
		if c.x[k], ok = c.robust(obs[k], v, bend); !ok {
			return fmt.Errorf("%w: the centre-line cannot be drawn", ErrNoPath)
		}
	}
	return c.smoothRadius()
}

func (c *centred) robust(obs, v []float64, bend float64) (line, bool) {
	w := clone(v)
	var l line
	for range 3 {
		var ok bool
		if l, ok = smoothLine(obs, w, c.step, bend); !ok {
			return l, false
		}
		for i := range w {
			z2 := (obs[i] - l.value[i]) * (obs[i] - l.value[i]) / v[i]
			w[i] = v[i] * (1 + z2/9)
		}
	}
	return l, true
}

func (c *centred) smoothRadius() error {
	obs, v := make([]float64, len(c.fits)), make([]float64, len(c.fits))
	usual := c.usual(mr)
	if usual == 0 {
		usual = typical
	}
	for i, f := range c.fits {
		w := 1 / (0.4 * 0.4)
		obs[i] = usual
		if f.ok {
			k := 1 / (c.sdR[i] * c.sdR[i])
			obs[i] = (w*usual + k*f.model[mr]) / (w + k)
			w += k
		}
		v[i] = 1 / w
	}
	var ok bool
	if c.r, ok = c.robust(obs, v, widen); !ok {
		return fmt.Errorf("%w: the radius cannot be drawn", ErrNoPath)
	}
	return nil
}
