package solid

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// By hand: boxes 3 and 4 mm apart on two axes are 5 apart, boxes that meet 0; a ball's box, a union, the sum of sides.
func TestBoxesByHand(t *testing.T) {
	a, b := box{[3]float64{0, 0, 0}, [3]float64{1, 2, 3}}, box{[3]float64{4, 6, 1}, [3]float64{5, 7, 2}}
	near(t, "apart, mm", a.apart(&b), 5, 1e-15)
	near(t, "swapped, mm", b.apart(&a), 5, 1e-15)
	if u := a.with(b); u != (box{[3]float64{0, 0, 0}, [3]float64{5, 7, 3}}) || u.apart(&a) != 0 || u.size() != 15 {
		t.Errorf("union %v, size %g", u, u.size())
	}
	if c := (&box{[3]float64{-1, -2, -3}, [3]float64{1, 2, 4}}); c.size() != 13 || c.centre(2) != 0.5 {
		t.Errorf("size %g, centre %g", c.size(), c.centre(2))
	}
	if c := ballBox(v(1, 2, 3), 0.5); c != (box{[3]float64{0.5, 1.5, 2.5}, [3]float64{1.5, 2.5, 3.5}}) {
		t.Errorf("ball's box %v", c)
	}
}

// Every node holds its pieces' boxes and no more, in a ball of half its diagonal; an inner node's pieces are halved
// along its longest side, lower half left; a leaf has four at most.
func TestTreeHoldsAndHalvesItsPieces(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	for _, n := range []int{1, 4, 5, 8, 9, 37, 200} {
		var boxes []box
		for range n {
			boxes = append(boxes, ballBox(v(9*rng.NormFloat64(), 3*rng.NormFloat64(), 20*rng.Float64()+100), rng.Float64()))
		}
		tr := newTree(boxes)
		var pieces func(i int) []int
		pieces = func(i int) []int {
			node := &tr.nodes[i]
			var mine []int
			if node.leaf() {
				mine = tr.order[node.from:node.to]
				if len(mine) == 0 || len(mine) > leafSize {
					t.Errorf("%d pieces in a leaf", len(mine))
				}
			} else {
				left, right := pieces(node.left), pieces(node.right)
				side := [3]float64{node.hi[0] - node.lo[0], node.hi[1] - node.lo[1], node.hi[2] - node.lo[2]}
				axis := slices.Index(side[:], slices.Max(side[:]))
				if d := len(right) - len(left); d < 0 || d > 1 || len(left)+len(right) <= leafSize {
					t.Errorf("%d and %d pieces", len(left), len(right))
				}
				most := math.Inf(-1)
				for _, p := range left {
					most = max(most, boxes[p].centre(axis))
				}
				for _, p := range right {
					if boxes[p].centre(axis) < most-1e-12 {
						t.Errorf("of %d pieces one at %g right of one at %g", len(left)+len(right), boxes[p].centre(axis), most)
					}
				}
				mine = append(append(mine, left...), right...)
			}
			all := boxes[mine[0]]
			for _, p := range mine {
				all = all.with(boxes[p])
			}
			half := r3.Scale(0.5, v(all.hi[0]-all.lo[0], all.hi[1]-all.lo[1], all.hi[2]-all.lo[2]))
			if node.box != all || r3.Norm(r3.Sub(node.middle, r3.Add(v(all.lo[0], all.lo[1], all.lo[2]), half))) > 1e-12 || math.Abs(node.radius-r3.Norm(half)) > 1e-12 {
				t.Errorf("node %+v of box %v", node, all)
			}
			return mine
		}
		found := slices.Clone(pieces(0))
		slices.Sort(found)
		for i, p := range found {
			if i != p || len(found) != n {
				t.Fatalf("pieces %v", found)
			}
		}
	}
}

// Whatever the keys, many of them equal, the k smallest come first and none is lost.
func TestSelectSmallest(t *testing.T) {
	rng := rand.New(rand.NewPCG(33, 34))
	for range 2000 {
		n := 1 + rng.IntN(20)
		keys, items := make([]float64, n), make([]int, n)
		for i := range n {
			keys[i], items[i] = float64(rng.IntN(8)), i
		}
		k := rng.IntN(n)
		selectSmallest(items, k, func(i int) float64 { return keys[i] })
		for i := range k {
			for j := k; j < n; j++ {
				if keys[items[i]] > keys[items[j]] {
					t.Fatalf("%g before %g, k = %d of %v", keys[items[i]], keys[items[j]], k, keys)
				}
			}
		}
		slices.Sort(items)
		for i := range n {
			if items[i] != i {
				t.Fatalf("items %v", items)
			}
		}
	}
}
