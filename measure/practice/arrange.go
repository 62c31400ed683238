package practice

import (
	"math"
	"math/rand/v2"
	"slices"
)

// wish is what one place of a set shall hold.
type wish struct {
	kind    kind
	level   Level
	repeats int // the place that it repeats; −1: none
}

// arrange says what stands where: a first block of one kind, then kinds, jaws and levels mixed, each repeat at
// least three places behind what it repeats.
func (o Options) arrange() []wish {
	r := o.seeded("order", 0)
	var ample, other []kind
	for _, k := range kinds {
		switch {
		case !slices.Contains(o.Jaws, k.jaw):
		case k.ample:
			ample = append(ample, k)
		default:
			other = append(other, k)
		}
	}
	repeats := int(math.Round(o.Repeats * float64(o.Items)))
	single := max(1, o.Items-repeats)
	out := make([]wish, 0, o.Items)
	first := ample[r.IntN(len(ample))]
	for len(out) < min(blocked, max(1, o.Items/4)) {
		out = append(out, wish{first, Easy, -1})
	}
	rest := make([]wish, 0, single)
	for i := len(out); i < single; i++ {
		w := wish{other[i%len(other)], o.levelAt(i), -1}
		if float64(len(rest)+len(out)) < ampleShare*float64(single) {
			w.kind = ample[i%len(ample)]
		}
		rest = append(rest, w)
	}
	r.Shuffle(len(rest), func(i, j int) { rest[i], rest[j] = rest[j], rest[i] })
	out = append(out, rest...)
	return insertRepeats(out, o.Items-single, r)
}

// levelAt deals out the levels of a set: 40 : 40 : 20, or 80 : 20 : 0, or 0 : 40 : 60.
func (o Options) levelAt(i int) Level {
	deal := map[Level][5]Level{
		Mixed: {Easy, Middle, Hard, Easy, Middle}, Easy: {Easy, Easy, Middle, Easy, Easy}, Hard: {Hard, Middle, Hard, Middle, Hard},
	}[o.Level]
	return deal[i%5]
}

// repeatGap is how many items lie between one and its repeat at least, where the set is long enough.
const repeatGap = 3

// insertRepeats puts n repeats of different items behind them. No repeat is repeated.
func insertRepeats(in []wish, n int, r *rand.Rand) []wish {
	type place struct{ self, of int } // which item of in stands here; −1 and which one it repeats
	order := make([]place, len(in))
	for i := range order {
		order[i] = place{i, -1}
	}
	for _, i := range r.Perm(len(in))[:min(n, len(in))] {
		at := slices.IndexFunc(order, func(p place) bool { return p.self == i })
		from := min(at+1+repeatGap, len(order))
		order = slices.Insert(order, from+r.IntN(len(order)-from+1), place{-1, i})
	}
	out := make([]wish, len(order))
	for k, p := range order {
		if p.self >= 0 {
			out[k] = in[p.self]
			continue
		}
		out[k].repeats = slices.IndexFunc(order, func(o place) bool { return o.self == p.of })
	}
	return out
}
