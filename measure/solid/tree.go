package solid

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// box is an axis-parallel box in the patient frame, mm.
type box struct{ lo, hi [3]float64 }

func ballBox(c r3.Vec, r float64) box {
	return box{[3]float64{c.X - r, c.Y - r, c.Z - r}, [3]float64{c.X + r, c.Y + r, c.Z + r}}
}

func (b box) with(o box) box {
	for i := range 3 {
		b.lo[i], b.hi[i] = min(b.lo[i], o.lo[i]), max(b.hi[i], o.hi[i])
	}
	return b
}

// apart returns the distance between two boxes, mm; 0 where they meet. It is a lower bound of
// the distance of what they hold.
func (b *box) apart(o *box) float64 {
	sum := 0.0
	for i := range 3 {
		if d := max(b.lo[i]-o.hi[i], o.lo[i]-b.hi[i]); d > 0 {
			sum += d * d
		}
	}
	return math.Sqrt(sum)
}

func (b *box) size() float64 {
	return b.hi[0] - b.lo[0] + b.hi[1] - b.lo[1] + b.hi[2] - b.lo[2]
}

func (b *box) centre(axis int) float64 { return (b.lo[axis] + b.hi[axis]) / 2 }

// leafSize is how many pieces a leaf holds: fewer makes the tree bigger, more makes leaves slow.
const leafSize = 4

// tree is a hierarchy of boxes over numbered pieces, split at the median of the longest side.
type tree struct {
	nodes []node
	order []int // the pieces, leaf by leaf
}

type node struct {
	box
	middle      r3.Vec
	radius      float64 // of the ball around the middle that holds the box, mm
	left, right int     // children; 0 in a leaf
	from, to    int     // of order, in a leaf
}

func newTree(boxes []box) *tree {
	t := &tree{order: make([]int, len(boxes))}
	for i := range t.order {
		t.order[i] = i
	}
	t.split(boxes, 0, len(boxes))
	return t
}

// split builds the node over order[from:to] and returns its number.
func (t *tree) split(boxes []box, from, to int) int {
	all := boxes[t.order[from]]
	for _, i := range t.order[from+1 : to] {
		all = all.with(boxes[i])
	}
	me := len(t.nodes)
	t.nodes = append(t.nodes, newNode(all, from, to))
	if to-from <= leafSize {
		return me
	}
	axis := 0
	for i := range 3 {
		if all.hi[i]-all.lo[i] > all.hi[axis]-all.lo[axis] {
			axis = i
		}
	}
	part := t.order[from:to]
	middle := (from + to) / 2
	selectSmallest(part, len(part)/2, func(i int) float64 { return boxes[i].lo[axis] + boxes[i].hi[axis] })
	left := t.split(boxes, from, middle)
	right := t.split(boxes, middle, to)
	t.nodes[me].left, t.nodes[me].right = left, right
	return me
}

func newNode(b box, from, to int) node {
	half := r3.Vec{X: b.hi[0] - b.lo[0], Y: b.hi[1] - b.lo[1], Z: b.hi[2] - b.lo[2]}
	return node{box: b, middle: r3.Vec{X: b.centre(0), Y: b.centre(1), Z: b.centre(2)}, radius: length(half) / 2, from: from, to: to}
}

// selectSmallest puts the items with the smaller keys before position k (Hoare's selection).
func selectSmallest(items []int, k int, key func(int) float64) {
	for lo, hi := 0, len(items)-1; lo < hi; {
		pivot := key(items[(lo+hi)/2])
		i, j := lo, hi
		for i <= j {
			for key(items[i]) < pivot {
				i++
			}
			for key(items[j]) > pivot {
				j--
			}
			if i <= j {
				items[i], items[j] = items[j], items[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return
		}
	}
}

func (n *node) leaf() bool { return n.right == 0 }
