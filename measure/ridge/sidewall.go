package ridge

import (
	"math"

	"ridgerule/measure/reformat"
)

// wallEnd is why a wall was followed no farther.
type wallEnd int

const (
	atBase wallEnd = iota // it turned under the ridge
	atCut                 // the field ends
	away                  // it is no wall of the ridge any more
)

// UpperWall is how far below the crest the walls of an upper jaw are followed, mm: past any hollow of
// its ridge, for they go on into other bones. Of no wall it is said that it has no hollow before as much
// was seen. doubt is how much farther it is looked whether a hollow ends there after all: a hand's or a
// fit's error must not decide between one and none. Our choice.
const (
	UpperWall = 20.0
	doubt     = 4.0
)

// sideWall is one wall of a ridge: the outline's points on one side of the axis, from crest to base, and
// why they end.
type sideWall struct {
	points []reformat.UV // section mm
	end    wallEnd
}

// downTo returns the wall as far as it lies no more than most mm below the crest.
func (w sideWall) downTo(a Axis, most float64) sideWall {
	for i, p := range w.points {
		if depthOf(a, p) > most {
			return sideWall{w.points[:i], away}
		}
	}
	return w
}

// sideWall returns the whole wall, however far it runs. In the upper jaw it goes on past a cavity's
// floor: it is the outer edge of the bone all the same.
func (o *Outline) sideWall(a Axis, side reformat.UV) sideWall {
	var chain []reformat.UV
	n := len(o.Points)
	start, best := 0, math.Inf(1)
	for i, p := range o.Points {
		if d := norm(sub(p, a.Crest)); d < best {
			start, best = i, d
		}
	}
	dir := 1
	if dot(sub(o.Points[(start+4)%n], a.Crest), side) < dot(sub(o.Points[(start+n-4)%n], a.Crest), side) {
		dir = -1
	}
	for k := range n {
		i := ((start+dir*k)%n + n) % n
		p := o.Points[i]
		rel := sub(p, a.Crest)
		switch {
		case o.Cut[i]:
			return sideWall{chain, atCut}
		case k > 8 && dot(rel, side) < 0:
			return sideWall{chain, atBase}
		case turnsAway(chain, p, a, side):
			return sideWall{chain, away}
		}
		chain = append(chain, p)
	}
	return sideWall{chain, atBase}
}

// turnsAway reports whether the wall, some way below the crest, runs outward more steeply than 60°
// off the axis: there it has become the palate or another shelf, and its hollow is no undercut of
// the ridge.
func turnsAway(chain []reformat.UV, p reformat.UV, a Axis, side reformat.UV) bool {
	const back = 5 // points, about 1.5 mm
	if len(chain) < back || depthOf(a, p) < 3 {
		return false
	}
	step := sub(p, chain[len(chain)-back])
	return dot(step, side) > math.Tan(math.Pi/3)*math.Max(0, dot(step, a.Dir))
}

// hullOf returns the indices of the chain's points on its convex hull toward side, from crest to
// base.
func hullOf(chain []reformat.UV, side, dir reformat.UV) []int {
	var hull []int
	turn := func(a, b, c reformat.UV) float64 { // > 0 when b bulges toward side between a and c
		ab, ac := sub(b, a), sub(c, a)
		return (dot(ab, side)*dot(ac, dir) - dot(ab, dir)*dot(ac, side))
	}
	for i, p := range chain {
		for len(hull) >= 2 && turn(chain[hull[len(hull)-2]], chain[hull[len(hull)-1]], p) <= 0 {
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, i)
	}
	return hull
}
