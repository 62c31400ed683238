package jpeg2000

// tree is a tag tree: each node holds the least value of the four below it. Source: T.800 B.10.2.
type tree struct{ levels []treeLevel }

type treeLevel struct {
	across int
	nodes  []node
}

type node struct {
	low   int32 // the value is at least this
	known bool  // and is this
}

func newTree(across, down int) tree {
	var t tree
	for {
		t.levels = append(t.levels, treeLevel{across, make([]node, across*down)})
		if across*down <= 1 {
			return t
		}
		across, down = (across+1)/2, (down+1)/2
	}
}

// below reads as many bits as it takes to tell whether the value of a leaf is less than limit.
func (t *tree) below(r *packetReader, x, y, limit int) bool {
	low := int32(0)
	var n *node
	for i := len(t.levels) - 1; i >= 0; i-- {
		l := &t.levels[i]
		n = &l.nodes[y>>i*l.across+x>>i]
		n.low = max(n.low, low)
		for n.low < int32(limit) && !n.known {
			if r.bit() == 1 {
				n.known = true
			} else {
				n.low++
			}
		}
		low = n.low
	}
	return n.known && n.low < int32(limit)
}
