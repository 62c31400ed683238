package align

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/fit"
)

// found is a place that the search came to.
type found struct {
	motion
	nats float64 // what the two say about each other there
	next float64 // the same at the best place that is another; 0: there is none

	mirrored float64 // what a mirror image says at best, against nats
}

// How far from the start the search begins: our choice, what a patient who lies otherwise in the other device does, and
// half of it for what climbing from there reaches.
const (
	startTurn  = 10.0 // degrees, about each axis, either way
	startShift = 10.0 // mm
	tried      = 64   // starts that are climbed from with few points: seen from 10 mm away one says little more than another
	candidates = 8    // places that are climbed on from with all
	quickly    = 6    // of the points one is asked to choose those
	leastShare = 0.3  // of the points must lie in both fields
)

// search returns the best place, from coarse voxels.
func (p *pair) search(ctx context.Context) (found, error) {
	starts := p.starts(false)
	n := p.round(0, coarsePoints, starts[0])
	best := n.best(starts)
	if err := ctx.Err(); err != nil {
		return found{}, err
	}
	if len(best) == 0 {
		return found{}, &Refusal{"the second scan's field holds less than a third of the first one's bone wherever it was looked for",
			startRemedy}
	}
	at := best[0]
	if image := n.best(p.starts(true)); len(image) > 0 {
		at.mirrored = image[0].nats / at.nats
	}
	for _, other := range best[1:] {
		if other.apart(at.motion) > 3 { // mm: another place, not the same from elsewhere
			at.next = other.nats
			break
		}
	}
	return at, nil
}

// starts lists where the search begins: about the start given, or about lying as the first scan does and about bone's middle
// on bone's middle.
func (p *pair) starts(mirror bool) []motion {
	var about []motion
	if p.o.Start != nil {
		about = append(about, motionOf(*p.o.Start, p.middle))
	} else {
		about = append(about, motionOf(Rigid("", "", r3.Vec{}, r3.Vec{}), p.middle), motionOf(Rigid("", "", r3.Vec{}, r3.Sub(p.centre, p.middle)), p.middle))
	}
	var out []motion
	turn, shift := startTurn*math.Pi/180, startShift
	for _, m := range about {
		m.mirror = mirror
		for n := range 3 * 3 * 3 * 3 * 3 * 3 {
			var by [params]float64
			for q, rest := 0, n; q < size; q, rest = q+1, rest/3 {
				by[q] = [3]float64{0, 1, -1}[rest%3] * [2]float64{turn, shift}[q/shiftX]
			}
			out = append(out, m.after(by))
		}
	}
	return out
}

// best climbs from the most promising starts and returns where it came to, the best first.
func (n *information) best(starts []motion) []found {
	quick := *n
	quick.samples = nil
	for i := 0; i < len(n.samples); i += quickly {
		quick.samples = append(quick.samples, n.samples[i])
	}
	all := make([]found, len(starts))
	fit.Each(len(starts), func(i int) {
		nats, share := quick.roughly(starts[i])
		if share < leastShare {
			nats = math.Inf(-1)
		}
		all[i] = found{motion: starts[i], nats: nats}
	})
	all = slices.DeleteFunc(all, func(f found) bool { return math.IsInf(f.nats, -1) })
	sortFound(all)
	all = all[:min(len(all), tried)]
	fit.Each(len(all), func(i int) {
		all[i].motion, _ = quick.climb(all[i].motion, size)
		all[i].nats = n.worth(all[i].motion)
	})
	sortFound(all)
	fit.Each(min(len(all), candidates), func(i int) {
		all[i].motion, _ = n.climb(all[i].motion, size)
		all[i].nats = n.worth(all[i].motion)
	})
	sortFound(all)
	return slices.DeleteFunc(all, func(f found) bool { return math.IsInf(f.nats, -1) })
}

// worth is [information.value], −Inf where too few points lie in both fields.
func (n *information) worth(m motion) float64 {
	nats, share := n.value(m)
	if share < leastShare {
		return math.Inf(-1)
	}
	return nats
}

// roughly is [information.value] of few points, in grey steps eight times as wide. Of n points in b × b bins chance alone says
// (b − 1)²/2n nats, some 0.9 of 500 points in 32 × 32 bins and the more the fewer lie in both fields; in 5 × 5 it is 0.02.
//
// Source: Miller GA. Note on the bias of information estimates, 1955 (from memory).
func (n *information) roughly(m motion) (nats, share float64) {
	seen := make([]reading, len(n.samples))
	n.read(m, seen)
	h, total := n.count(seen)
	if total == 0 {
		return 0, 0
	}
	nats, _ = h.wider(pooled).logs(total)
	return nats, total / float64(len(seen))
}

// pooled is how many grey steps are counted as one to choose starts; our choice, see [information.roughly].
const pooled = 8

// wider returns the count with so many grey steps put into one.
func (j *joint) wider(by int) *joint {
	var out joint
	for i := range j {
		for k, v := range j[i] {
			out[i/by][k/by] += v
		}
	}
	return &out
}

func sortFound(all []found) {
	slices.SortStableFunc(all, func(a, b found) int { return cmp.Compare(b.nats, a.nats) })
}

// apart returns how far two motions take a point half a jaw from the middle apart, at most of six, mm.
func (m motion) apart(o motion) (most float64) {
	for _, d := range []r3.Vec{{X: lever}, {X: -lever}, {Y: lever}, {Y: -lever}, {Z: lever}, {Z: -lever}} {
		q := r3.Add(m.from, d)
		most = max(most, r3.Norm(r3.Sub(m.apply(q), o.apply(q))))
	}
	return most
}
