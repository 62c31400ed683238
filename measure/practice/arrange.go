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
	o.exchange(rest)
	r.Shuffle(len(rest), func(i, j int) { rest[i], rest[j] = rest[j], rest[i] })
	out = append(out, rest...)
	return insertRepeats(out, o.Items-single, r)
}

// exchange gives levels that a kind of site cannot have to kinds that can, as far as they can take each other's.
func (o Options) exchange(list []wish) {
	reach := map[string][]Level{}
	for _, w := range list {
		if _, known := reach[w.kind.name]; !known {
			reach[w.kind.name] = o.levelsOf(w.kind)
		}
	}
	for i := range list {
		mine := reach[list[i].kind.name]
		if slices.Contains(mine, list[i].level) {
			continue
		}
		if j := slices.IndexFunc(list, func(w wish) bool {
			return slices.Contains(reach[w.kind.name], list[i].level) && slices.Contains(mine, w.level)
		}); j >= 0 {
			list[i].level, list[j].level = list[j].level, list[i].level
		}
	}
}

// levelsOf lists the levels that sites of a kind have, of a hundred drawn: one that fewer than one in thirty has is not sought.
func (o Options) levelsOf(k kind) (out []Level) {
	r := o.seeded("levels of "+k.name, 0)
	for range 100 {
		if l := o.sketch(0, wish{k, "", -1}, r).Level; !slices.Contains(out, l) {
			out = append(out, l)
		}
	}
	return out
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
	order := repeated(len(in), n, r)
	out := make([]wish, len(order))
	for k, p := range order {
		if !p.again {
			out[k] = in[p.of]
			continue
		}
		out[k].repeats = slices.Index(order, place{p.of, false})
	}
	return out
}

// place is one place of an order: what stands there, and whether it stood before.
type place struct {
	of    int
	again bool
}

// repeated is the order 0, 1 … single−1 with n repeats of different ones put behind them at random, [repeatGap] places
// between one and its repeat where there is room.
func repeated(single, n int, r *rand.Rand) []place {
	order := make([]place, single)
	for i := range order {
		order[i].of = i
	}
	for _, i := range r.Perm(single)[:min(n, single)] {
		at := slices.Index(order, place{i, false})
		from := min(at+1+repeatGap, len(order))
		order = slices.Insert(order, from+r.IntN(len(order)-from+1), place{i, true})
	}
	return order
}
