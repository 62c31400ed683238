package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"ridgerule/measure/fit"
	"ridgerule/measure/safety"
)

// Tooth numbers held against places: first what needs no midline (order, gaps), then side and place.
//
// Sources of the bounds: see toothPlaces.

const (
	betweenTeeth = 4.0 // mm: a site between two teeth takes either number; half a tooth. Our choice.
	looser       = 4.0 // mm more on both ends in a jaw without marked roots or with few sites
	fewSites     = 6
	onePlace     = 3.0 // mm: nearer sites are candidates for one place, and no two teeth
	wrongWay     = 0.5 // of the arch's direction toward the back, on the side of the number: cosine of 60°. Our choice: heads are turned by less.
)

// numbered is a site with its tooth and where it is.
type numbered struct {
	i    int     // in the plan
	t    Tooth   //
	arc  float64 // mm
	left float64 // along the arch from the patient's right to the left, mm, from anywhere
}

// checkTeeth holds the sites' numbers against their places on the curve.
func (p *Placed) checkTeeth(l Landmarks) []Doubt {
	var all []numbered
	for i, s := range p.Sites {
		if t, ok := ToothOf(s.Tooth); ok && t.Jaw() == p.Jaw && s.placed() && !(s.ArcMM != nil && *s.ArcMM > l.curve.Length()) {
			arc := SiteArc(l.curve, s)
			all = append(all, numbered{i, t, arc, l.Leftward * arc})
		}
	}
	slices.SortStableFunc(all, func(a, b numbered) int { return cmp.Compare(a.left, b.left) })
	var out []Doubt
	if !l.curve.Straight() {
		out = slices.Concat(p.checkOrder(all, l), p.checkRoots(all, l))
	}
	out = append(out, p.checkGaps(all)...)
	if !l.Known() {
		out = append(out, Doubt{Caution: Cautionf("place_not_checked", SeverityCaution,
			"side and place of the tooth numbers are not checked: the arch shows no midline; mark it (arch: {midline: [x, y, z]}) where the field shows it")})
		return append(out, p.checkDirection(all, l)...)
	}
	return append(append(out, p.checkTurned(l)...), p.checkPlaces(all, l)...)
}

// checkTurned finds an arch that does not run from the patient's right to the left where it crosses the midline: a plan in
// another frame, in which right and left of the teeth agree with each other and not with the scan. Heads are turned by less
// than 45°.
func (p *Placed) checkTurned(l Landmarks) []Doubt {
	if p.OrientationNote != "" || l.curve.Straight() || !p.crossesMidline(l) {
		return nil
	}
	across := l.Leftward * l.curve.Tangent(l.midline).X
	if across > math.Sqrt2/2 {
		return nil
	}
	return []Doubt{{Caution: Cautionf("arch_turned", SeverityNotAssessed, "the arch is turned by about %.0f° against the patient's right and left, as the scan's header gives them", math.Acos(across)*180/math.Pi),
		refuse: true, path: archPath(0), remedy: "check the frame of the plan and its signs (+x is the patient's left, +y the back); of a patient who lies otherwise, say so in an orientation_note"}}
}

// outOfOrder reports whether a lies farther to the patient's right than b and has a number farther to the left.
func outOfOrder(a, b numbered) bool {
	d := rankSteps(a.t, b.t)
	return a.left <= b.left && d < 0 && !(d == -1 && b.left-a.left < betweenTeeth)
}

// rankSteps returns how many teeth b's number lies to the left of a's; no unit.
func rankSteps(a, b Tooth) int {
	steps := b.along() - a.along()
	if a.along() < 0 && b.along() > 0 { // there is no tooth 0
		steps--
	}
	if a.along() > 0 && b.along() < 0 {
		steps++
	}
	return steps
}

// checkOrder finds the fewest sites, one by one the one with most wrong neighbours, without which the
// numbers follow the arch.
func (p *Placed) checkOrder(all []numbered, l Landmarks) []Doubt {
	rest := slices.Clone(all)
	if l.turn < nearlyStraight && violations(reversed(rest)) < violations(rest) {
		rest = reversed(rest) // the hand decided which side of the curve is inside
	}
	var out []Doubt
	for {
		worst, most, other := -1, 0, 0
		for i := range rest {
			n, with := 0, 0
			for j := range rest {
				if outOfOrder(rest[i], rest[j]) || outOfOrder(rest[j], rest[i]) {
					n, with = n+1, j
				}
			}
			if n >= max(most, 1) && (n > most || rest[i].i > rest[worst].i) {
				worst, most, other = i, n, with
			}
		}
		if worst < 0 {
			return out
		}
		bad, with := rest[worst], rest[other]
		d := p.SiteDoubt(bad.i, ".tooth", "order", SeverityNotAssessed, "tooth %v stands on the wrong side of tooth %v%s, %.1f mm from it along the arch%s",
			bad.t, with.t, p.source.line(sitePath(with.i)), math.Abs(bad.left-with.left), other1to32(bad.t))
		d.Confirm, d.refuse, d.remedy = confirmOrder, true, "correct the number or the place of one of them, or confirm: [order]"
		out = append(out, d)
		rest = slices.Delete(rest, worst, worst+1)
	}
}

func violations(all []numbered) int {
	n := 0
	for i := range all {
		for j := i + 1; j < len(all); j++ {
			if outOfOrder(all[i], all[j]) {
				n++
			}
		}
	}
	return n
}

// reversed returns the sites as seen along the arch the other way.
func reversed(all []numbered) []numbered {
	out := slices.Clone(all)
	slices.Reverse(out)
	for i := range out {
		out[i].left = -out[i].left
	}
	return out
}

// other1to32 adds what the number would mean in the other notation.
func other1to32(t Tooth) string {
	if says := inOtherNotation(t.String()); says != "" {
		return "; " + says
	}
	return ""
}

// checkGaps holds neighbouring sites of one side against the usual distance between their teeth.
func (p *Placed) checkGaps(all []numbered) []Doubt {
	var out []Doubt
	for i := 1; i < len(all); i++ {
		a, b := all[i-1], all[i]
		if a.t == b.t || a.t.Side() != b.t.Side() {
			continue
		}
		gap := b.left - a.left
		low, high := p.gapBounds(a.t, b.t)
		apart := max(a.t.Number, b.t.Number) - min(a.t.Number, b.t.Number)
		if gap >= low && gap <= high && !(apart > 1 && gap < onePlace) {
			continue
		}
		for _, pair := range [][2]numbered{{a, b}, {b, a}} {
			d := p.SiteDoubt(pair[0].i, ".tooth", "gap", SeverityNotAssessed, "tooth %v lies %.1f mm along the arch from tooth %v%s, where %.1f to %.1f mm are usual%s",
				pair[0].t, gap, pair[1].t, p.source.line(sitePath(pair[1].i)), max(low, 0), high, other1to32(pair[0].t))
			d.Confirm = confirmPlace
			out = append(out, d)
		}
	}
	return out
}

// gapBounds returns the least and the largest usual distance along the arch between two teeth of a side,
// mm, with the slack of this plan.
func (p *Placed) gapBounds(a, b Tooth) (low, high float64) {
	gaps := toothGaps[p.Jaw]
	for n := min(a.Number, b.Number); n < max(a.Number, b.Number); n++ {
		low, high = low+gaps[n].low, high+gaps[n].high
	}
	slack := betweenTeeth + p.slack()
	return low - slack, high + slack
}

// slack is how much wider the bounds are where the plan shows no standing tooth, or few sites, mm.
func (p *Placed) slack() float64 {
	standing := slices.ContainsFunc(p.Structures, func(s safety.Structure) bool { return s.Kind == safety.Root && !s.PlannedRemoval })
	if !standing || len(p.Sites) < fewSites {
		return looser
	}
	return 0
}

// checkDirection finds, where there is no midline, numbers of one side where the arch plainly runs as on
// the other.
func (p *Placed) checkDirection(all []numbered, l Landmarks) []Doubt {
	var out []Doubt
	if l.turn < nearlyStraight {
		return nil
	}
	for _, n := range all {
		back := l.backward(n.arc)
		if n.t.Side() == Left && back < -wrongWay || n.t.Side() == Right && back > wrongWay {
			out = append(out, p.wrongSide(n, fmt.Sprintf("the arch runs there as on the patient's %s", n.t.mirrored().Side())))
		}
	}
	return out
}

// crossesMidline reports whether the curve itself reaches the midline: it has both sides of the jaw, or the given midline
// on it.
func (p *Placed) crossesMidline(l Landmarks) bool {
	if p.Midline == nil {
		return l.turn >= wholeTurn
	}
	_, off, past := l.beside(*p.Midline)
	return !past && off <= foundMidline
}

// wrongSide is the doubt about a number of the other side.
func (p *Placed) wrongSide(n numbered, why string) Doubt {
	d := p.SiteDoubt(n.i, ".tooth", "side", SeverityNotAssessed, "tooth %v is the %s, but %s%s", n.t, n.t.Words(n.t.Side()), why, other1to32(n.t))
	d.Confirm, d.refuse = confirmSide, true
	d.remedy = fmt.Sprintf("write %v or correct the place and the signs of x (+x is the patient's left)", n.t.mirrored())
	if p.OrientationNote == "" {
		d.remedy += "; a plan with an orientation_note may confirm: [side]"
	}
	return d
}

// checkPlaces holds each site's distance from the midline against where its tooth usually stands.
func (p *Placed) checkPlaces(all []numbered, l Landmarks) []Doubt {
	shift := midlineShift(all, l, p.Jaw)
	var out []Doubt
	for _, n := range all {
		own := l.FromMidline(n.arc)
		if n.t.Side() == Right {
			own = -own
		}
		at := toothPlaces[p.Jaw][n.t.Number]
		low, high := at.low-p.slack(), at.high+p.slack()
		inside := func(mm float64) bool { return mm >= low && mm <= high }
		moved := own - shift
		if n.t.Side() == Right {
			moved = own + shift
		}
		switch {
		case inside(own) || inside(moved):
		case own < -l.doubt && moved < -l.doubt:
			out = append(out, p.wrongSide(n, fmt.Sprintf("lies on the patient's %s, %.1f mm from the midline", n.t.mirrored().Side(), -own)))
		default:
			d := p.SiteDoubt(n.i, ".tooth", "place", SeverityNotAssessed, "tooth %v lies %.1f mm from the midline along the arch, where %.0f to %.0f mm are usual for a %s: what must be kept clear of is not known%s",
				n.t, own, max(low, 0), high, n.t.Words(""), other1to32(n.t))
			d.Confirm, d.remedy = confirmPlace, "correct the number or the place, or confirm: [place]"
			out = append(out, d)
		}
	}
	return out
}

// midlineShift returns how far to the patient's left the sites say the midline lies from where it was
// taken, mm, where both sides have sites: the median of what they say, at most a found midline's doubt.
func midlineShift(all []numbered, l Landmarks, jaw Jaw) float64 {
	var off [2][]float64
	for _, n := range all {
		usual := toothPlaces[jaw][n.t.Number].usual
		if n.t.Side() == Right {
			off[0] = append(off[0], l.FromMidline(n.arc)+usual)
		} else {
			off[1] = append(off[1], l.FromMidline(n.arc)-usual)
		}
	}
	if len(off[0]) == 0 || len(off[1]) == 0 {
		return 0
	}
	shift := (fit.Median(off[0]) + fit.Median(off[1])) / 2 // an arch drawn too far in or out moves both sides apart, not the midline
	return math.Max(-l.doubt, math.Min(l.doubt, shift))
}
