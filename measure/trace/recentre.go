package trace

import (
	"context"
	"fmt"
	"math"
	"slices"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/fit"
)

const (
	rounds      = 4    // of fitting sections and smoothing; the path settles after three
	anchorSD    = 1.0  // mm; how far from the path of the round before the centre may lie where a section tells nothing
	radiusSD    = 0.4  // mm; how far from the canal's usual radius it may lie where a section tells nothing
	tangentSpan = 3    // sections each way
	voteReach   = 3.0  // mm from the path; what a vote looks at
	faint       = 0.05 // least confidence that still counts
)

// known is what one round learns about this canal and this picture for the next.
type known struct {
	blur   float64 // sigma of picture and sampling, mm
	disc   *disc   // of that sigma
	radius func(part float64) float64
	inside float64 // usual grey value of the lumen
	wall   float64 // usual brightness of the wall above marrow
	thick  float64 // usual thickness of the wall, mm
	firm   bool    // false before the first round
	cortex float64 // grey value of cortex around the canal: its wall is no brighter
}

// centred is the path between rounds: even points with a fit at each.
type centred struct {
	points     []r3.Vec
	step       float64 // mm
	sections   []*section
	spread     float64 // usual standard deviation of a section: the scale of contrast, grey values
	fits       []*discFit
	noise      float64 // usual rms difference between picture and model, grey values
	confidence []float64
	sd, sdR    []float64 // of the fits, +Inf where there is none, mm
	x          [3]line   // smoothed centre
	r          line      // smoothed radius
}

// recentre moves the rough path onto the canal's centre and measures radius, uncertainty and
// confidence along it.
func recentre(ctx context.Context, v *volume.Volume, rough, marks []r3.Vec, o Options) (*Path, error) {
	points := rough
	var c *centred
	h := pitch(v.Grid)
	know := known{thick: 0.4}
	know.setBlur(math.Sqrt(0.2*0.2 + h*h/6))
	know.cortex = cortexAlong(v, rough)
	for round := range rounds {
		cur, ok := newCurve(points)
		if !ok {
			return nil, fmt.Errorf("%w: the marks fall on one point of the canal; set them farther apart", ErrNoPath)
		}
		c = &centred{}
		c.points, c.step = cur.even(apartMM)
		if err := c.cut(ctx, v); err != nil {
			return nil, err
		}
		if err := c.fitSections(ctx, &know, round); err != nil {
			return nil, err
		}
		if err := c.smooth(marks, o); err != nil {
			return nil, err
		}
		know = c.learn(know)
		points = c.centres()
	}
	return c.path(marks, o)
}

// centres returns the smoothed centre-line.
func (c *centred) centres() []r3.Vec {
	p := make([]r3.Vec, len(c.points))
	for i := range p {
		p[i] = r3.Vec{X: c.x[0].value[i], Y: c.x[1].value[i], Z: c.x[2].value[i]}
	}
	return p
}

// cut samples the sections.
func (c *centred) cut(ctx context.Context, v *volume.Volume) error {
	c.sections = make([]*section, len(c.points))
	t := tangents(c.points, tangentSpan)
	err := parallel(ctx, len(c.points), func(i int) { c.sections[i] = newSection(v, c.points[i], t[i]) })
	var sds []float64
	for _, q := range c.sections {
		if q == nil {
			continue
		}
		if _, sd := q.mean(0, math.Inf(1)); !math.IsNaN(sd) {
			sds = append(sds, sd)
		}
	}
	c.spread = 1
	if len(sds) > 0 {
		c.spread = max(fit.Quantile(sds, 0.5), 1)
	}
	return err
}

// fitSections fits a canal in each section, starting from what is known.
func (c *centred) fitSections(ctx context.Context, know *known, round int) error {
	if err := c.choose(ctx, know, round); err != nil {
		return err
	}
	c.fits = make([]*discFit, len(c.points))
	err := parallel(ctx, len(c.points), func(i int) { c.fits[i] = c.sections[i].fit(know.disc, c.prior(know, i)) })
	if err != nil {
		return err
	}
	c.trust()
	c.precision()
	return nil
}

// setBlur sets the blur and its table.
func (k *known) setBlur(sigma float64) {
	sigma = min(max(sigma, 0.12), 0.8)
	if k.disc == nil || k.blur != sigma {
		k.blur, k.disc = sigma, newDisc(sigma)
	}
}

// choose picks, by the whole path's vote, what no single section can tell well: in the first
// round where the fits of the radius and of the wall start, then the blur of this picture,
// which stays for the last round.
func (c *centred) choose(ctx context.Context, know *known, round int) error {
	switch round {
	case 0:
		err := c.pick(ctx, know, []float64{0.8, 1.2, 1.7, 2.3}, func(k *known, r float64) {
			k.radius = func(float64) float64 { return r }
		})
		if err != nil {
			return err
		}
		return c.pick(ctx, know, []float64{0.3, 0.6, 0.9}, func(k *known, t float64) { k.thick = t })
	case rounds - 1:
		return nil
	}
	b := know.blur
	return c.pick(ctx, know, []float64{b, b / 1.25, b * 1.25}, (*known).setBlur)
}

// pick sets know to the best of several values of one number, by vote.
func (c *centred) pick(ctx context.Context, know *known, values []float64, set func(*known, float64)) error {
	best, from := math.NaN(), *know // NaN is worse than any cost: the first value is taken, whatever it costs
	for _, x := range values {
		k := from
		set(&k, x)
		cost, err := c.vote(ctx, &k)
		if err != nil {
			return err
		}
		if best != best || cost < best {
			best, *know = cost, k
		}
	}
	return nil
}

// vote returns how badly sections are explained with what is known: the sum over every
// fourth section of the squared differences within voteReach, those larger than half the usual contrast
// counting no more than that. In grey values squared, without unit.
func (c *centred) vote(ctx context.Context, know *known) (float64, error) {
	const every = 4
	n := (len(c.points) + every - 1) / every
	cost := make([]float64, n)
	limit := c.spread * c.spread / 4
	err := parallel(ctx, n, func(i int) {
		q := c.sections[i*every]
		f := q.fit(know.disc, c.prior(know, i*every))
		for _, r := range f.resid[:q.within(voteReach)] {
			cost[i] += min(r*r, limit)
		}
	})
	sum := 0.0
	for _, q := range cost {
		sum += q
	}
	return sum, err
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

// prior returns what is known of the canal in section i before looking closely.
func (c *centred) prior(know *known, i int) prior {
	q, s := c.sections[i], c.spread
	inside, _ := q.mean(0, 0.7)
	out, _ := q.mean(2.2, math.Inf(1))
	r := know.radius(float64(i) / float64(max(1, len(c.points)-1)))
	p := prior{
		mean: model{mr: r, mInside: inside, mOut: out, mWall: s / 2, mThick: know.thick},
		sd:   model{0.8, 0.8, 0.4, s, 2 * s, s / 2, s / 2, 2 * s, 0.15, s / 2, s / 2},
	}
	p.brightest = know.cortex
	if know.firm {
		p.sd[mx], p.sd[my], p.sd[mr] = 0.6, 0.6, 0.3
		p.mean[mInside], p.sd[mInside] = know.inside, s/4
		p.mean[mWall], p.sd[mWall] = know.wall, s
		p.mean[mThick], p.sd[mThick] = know.thick, 0.1
	}
	return p
}

// learn returns what this round knows about the canal.
func (c *centred) learn(before known) known {
	k := known{blur: before.blur, disc: before.disc, cortex: before.cortex, firm: true, inside: c.usual(mInside), wall: c.usual(mWall), thick: c.usual(mThick)}
	n := len(c.points) - 1
	k.radius = func(part float64) float64 { return c.r.value[int(math.Round(part*float64(n)))] }
	return k
}

// usual returns the median of one number of the model along the path, in that number's unit.
func (c *centred) usual(k int) float64 {
	var x []float64
	for _, f := range c.fits {
		if f.ok {
			x = append(x, f.model[k])
		}
	}
	if len(x) == 0 {
		return map[int]float64{mr: 1.2, mThick: 0.4}[k]
	}
	return fit.Quantile(x, 0.5)
}

// trust sets the confidence of every section.
func (c *centred) trust() {
	var noises []float64
	for _, f := range c.fits {
		if f.ok {
			noises = append(noises, f.noise)
		}
	}
	c.noise = 1
	if len(noises) > 0 {
		c.noise = fit.Quantile(noises, 0.5)
	}
	c.confidence = make([]float64, len(c.fits))
	for i, f := range c.fits {
		c.confidence[i] = c.sections[i].confidence(f, max(c.noise, f.noise))
	}
}

// cortexAlong returns the grey value of cortex around a path: what is brighter than the path is divided
// in two (Otsu), and cortex is the third quartile of the brighter part, because its lower half is blurred
// edge. It is +Inf where there is too little.
func cortexAlong(v *volume.Volume, path []r3.Vec) float64 {
	const every = 2.0 // mm
	cur, ok := newCurve(path)
	if !ok {
		return math.Inf(1)
	}
	points, _ := cur.even(every)
	t := tangents(points, 1)
	var g, lumen []float64
	for i, p := range points {
		plane := acrossPath(v, p, t[i])
		if at := float64(plane[len(plane)/2]); at == at {
			lumen = append(lumen, at)
		}
		for _, x := range plane {
			if x == x {
				g = append(g, float64(x))
			}
		}
	}
	slices.Sort(g)
	low, _ := slices.BinarySearch(g, fit.Quantile(lumen, 0.5))
	if g = g[low:]; len(g) < 100 {
		return math.Inf(1)
	}
	at := otsu(g)
	return g[at+(len(g)-at)*3/4]
}

// acrossPath returns the grey values of the plane across t through p, 10 mm each way, p in the middle.
func acrossPath(v *volume.Volume, p, t r3.Vec) []float32 {
	const half, pitch = 10.0, 0.5 // mm; a jaw is hardly wider than twice the one
	const side = 2*int(half/pitch) + 1
	u, w := across(t)
	return v.Sample(nil, volume.Plane{
		Origin: r3.Sub(p, r3.Scale(half, r3.Add(u, w))), Width: side, Height: side,
		StepX: r3.Scale(pitch, u), StepY: r3.Scale(pitch, w),
	})
}
