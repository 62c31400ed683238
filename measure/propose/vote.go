package propose

import (
	"fmt"
	"math"
	"strings"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
)

// The jaw by what lies above and below the arch. Upper: enclosed air and a bony plate close the arch from
// above, and the teeth hang at its lower end. Lower: the arch stays an empty wall that ends freely below,
// with the thicker compact there, and its teeth stand at the upper end. Signs that speak for an image on its
// head speak for no jaw.

// ballot counts what speaks for each jaw.
type ballot struct {
	mandible, maxilla, upsideDown int
	why                           []string
}

func (b *ballot) add(n *int, format string, args ...any) {
	*n++
	b.why = append(b.why, fmt.Sprintf(format, args...))
}

// How much must be seen of a sign. Our choice, after the anatomy texts' usual sizes.
const (
	leastAir    = 1.5  // cm³ of enclosed air
	leastRoof   = 0.5  // share of the arch's inside that a bony plate covers
	leastWall   = 15.0 // mm of height through which the arch is a wall alone
	thickerBase = 0.7  // mm by which the base's compact is thicker than the crest's
	thickerTop  = 3.0  // mm by which the crest's is thicker where the image must be on its head
	lookBeyond  = 25.0 // mm above and below the trail
	margin      = 2    // votes
	mostCompact = 6.0  // mm: more is a tooth, or a line that runs within a wall
)

// vote lets the image vote on the jaw that t belongs to; teeth is the grey value from which on something is denser than bone.
func (c *cells) vote(t *trail, teeth float64) ballot {
	var b ballot
	up, down := c.ends(t, 1, teeth), c.ends(t, -1, teeth)
	above, below := c.beyond(t, 1, up), c.beyond(t, -1, down)
	b.closed(&b.maxilla, above, "above")
	b.closed(&b.upsideDown, below, "below")
	if !above.closes() {
		b.wall(up, down, above, below)
	}
	c.voteTeeth(&b, up, down)
	return b
}

// closed counts for n what closes the arch on a side.
func (b *ballot) closed(n *int, by closing, side string) {
	if by.air >= leastAir {
		b.add(n, "%.1f cm³ of enclosed air %s the arch", by.air, side)
	}
	if by.roof >= leastRoof {
		b.add(n, "a bony plate closes %.0f %% of the arch from %s", 100*by.roof, side)
	}
}

// closes reports whether it is enough to close an arch.
func (by closing) closes() bool { return by.air >= leastAir || by.roof >= leastRoof }

// wall counts what an arch that nothing closes above says.
func (b *ballot) wall(up, down ending, above, below closing) {
	if up.free <= 0.5 {
		return
	}
	if above.seen {
		b.add(&b.mandible, "neither a bony plate nor enclosed air above the arch")
	}
	if down.free <= 0.5 {
		return
	}
	if !below.closes() && up.height+down.height >= leastWall {
		b.add(&b.mandible, "a wall alone through %.0f mm of height, nothing inside", up.height+down.height)
	}
	switch d := down.compact - up.compact; {
	case d > thickerBase:
		b.add(&b.mandible, "the compact of the lower end is %.1f mm thicker than that of the upper one", d)
	case d < -thickerTop:
		b.add(&b.upsideDown, "the compact of the upper end is %.1f mm thicker than that of the lower one", -d)
	}
}

// voteTeeth adds where the teeth stand.
func (c *cells) voteTeeth(b *ballot, up, down ending) {
	const some, much = 0.1, 2.0
	switch {
	case up.bright > some && up.bright > much*down.bright:
		b.add(&b.mandible, "teeth at the upper end of the arch")
	case down.bright > some && down.bright > much*up.bright:
		b.add(&b.maxilla, "teeth at the lower end of the arch")
	}
}

// jaw returns the jaw that has the votes; "" when it is too narrow.
func (b ballot) jaw() plan.Jaw {
	switch {
	case b.upsideDown > 0:
		return ""
	case b.mandible >= b.maxilla+margin:
		return plan.Mandible
	case b.maxilla >= b.mandible+margin:
		return plan.Maxilla
	}
	return ""
}

// choose decides on the jaw and returns the trail that belongs to it.
func (w *work) choose(bands []trail) (*trail, error) {
	p := w.Proposal
	if len(bands) == 0 {
		return nil, &Refusal{ErrArch, "the field shows no row of bone that runs like a jaw", "mark the arch by hand"}
	}
	if p.Jaw == "" && !bands[0].fan {
		bands = bands[:1] // the others are looked at where the jaw is known
	}
	votes := make([]ballot, len(bands))
	of := map[plan.Jaw]int{}
	rival := false
	for i := range bands {
		votes[i] = w.cells.vote(&bands[i], denser(learn(w.v, &bands[i])))
		j := votes[i].jaw()
		if k, ok := of[j]; !ok || bands[i].mean > bands[k].mean {
			of[j] = i
		}
	}
	open, undecided := of[""]
	delete(of, "")
	if p.Jaw != "" {
		return &bands[w.named(of, bands)], nil
	}
	for j, i := range of {
		p.Jaw, p.Voted, p.Votes = j, true, votes[i].why
		rival = undecided && bands[open].mean > asGood*bands[i].mean
	}
	switch {
	case len(of) == 2:
		p.Jaw = ""
		return nil, &Refusal{ErrJaw, "both jaws are in the field", askJaw}
	case rival:
		return nil, &Refusal{ErrJaw, "two rows of bone run like a jaw, one over the other: both jaws may be in the field", askJaw}
	case len(of) == 1:
		return &bands[of[p.Jaw]], nil
	}
	return nil, undecidedBy(votes)
}

// undecidedBy is the refusal of a vote that decided nothing.
func undecidedBy(votes []ballot) error {
	why := "the image cannot tell"
	for _, v := range votes {
		if len(v.why) > 0 {
			why += fmt.Sprintf(" (lower %d, upper %d: %s)", v.mandible, v.maxilla, strings.Join(v.why, "; "))
		}
		if v.upsideDown > 0 {
			why += "; it looks upside down for its header"
		}
	}
	return &Refusal{ErrJaw, why, askJaw}
}

// asGood is the share of the chosen trail's score from which another one may be a jaw too. Our choice.
const asGood = 0.85

// named returns the band of the jaw that the user named: the one that votes for it; else the best one that does
// not vote for the other.
func (w *work) named(of map[plan.Jaw]int, bands []trail) int {
	if i, ok := of[w.Jaw]; ok {
		return i
	}
	best := -1
	for i, t := range bands {
		taken := false
		for _, k := range of {
			taken = taken || k == i
		}
		if !taken && (best < 0 || t.mean > bands[best].mean) {
			best = i
		}
	}
	return max(best, 0)
}

// learn returns what the bone along a trail teaches about the series.
func learn(v *volume.Volume, t *trail) ridge.ImageModel {
	points := t.points()
	if len(points) < 4 {
		return ridge.ImageModel{}
	}
	curve, err := reformat.NewCurve(points, t.up)
	if err != nil {
		return ridge.ImageModel{}
	}
	return learnAlong(v, curve)
}

// learnStep is the distance between the places that teach, mm.
const learnStep = 6.0

func learnAlong(v *volume.Volume, curve *reformat.Curve) ridge.ImageModel {
	var stations []ridge.Station
	for s := 2.0; s < curve.Length(); s += learnStep {
		stations = append(stations, ridge.NewStation(reformat.NewField(v, curve.Frame(s))))
	}
	return ridge.EstimateImage(stations)
}

// overBone is by how much enamel and metal exceed compact bone, in steps from soft tissue to that bone.
const overBone = 1.35

// denser returns the grey value from which on something is denser than compact bone; +Inf: not learnt.
func denser(t ridge.ImageModel) float64 {
	if t.Edges == 0 || !(t.Cortex > t.Soft) {
		return math.Inf(1)
	}
	return t.Soft + overBone*(t.Cortex-t.Soft)
}

const askJaw = "say which one: --jaw mandible or --jaw maxilla"
