package reformat

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Cut returns the lines along which the section's plane cuts the triangles, indices of points (patient, mm); section mm.
// Nothing is returned where a triangle has a corner that is no point.
func (f Frame) Cut(points []r3.Vec, triangles [][3]int) [][]UV {
	var chords [][2]UV
	for _, tri := range triangles {
		var cut []UV
		for k := range 3 {
			a, b := tri[k], tri[(k+1)%3]
			if a < 0 || b < 0 || a >= len(points) || b >= len(points) {
				return nil
			}
			pa, offA := f.Section(points[a])
			pb, offB := f.Section(points[b])
			if (offA < 0) == (offB < 0) {
				continue
			}
			t := offA / (offA - offB)
			cut = append(cut, UV{U: pa.U + t*(pb.U-pa.U), V: pa.V + t*(pb.V-pa.V)})
		}
		if len(cut) == 2 {
			chords = append(chords, [2]UV{cut[0], cut[1]})
		}
	}
	return join(chords)
}

// join strings chords that share an end into lines, so that dashes run on.
func join(chords [][2]UV) [][]UV {
	key := func(p UV) [2]int64 {
		return [2]int64{int64(math.Round(p.U * 1e5)), int64(math.Round(p.V * 1e5))}
	}
	at := map[[2]int64][]int{}
	for i, c := range chords {
		at[key(c[0])] = append(at[key(c[0])], i)
		at[key(c[1])] = append(at[key(c[1])], i)
	}
	used := make([]bool, len(chords))
	grow := func(line []UV) []UV {
		for more := true; more; {
			more = false
			tail := line[len(line)-1]
			for _, i := range at[key(tail)] {
				if used[i] {
					continue
				}
				used[i], more = true, true
				next := chords[i][0]
				if key(next) == key(tail) {
					next = chords[i][1]
				}
				line = append(line, next)
				break
			}
		}
		return line
	}
	var out [][]UV
	for i, c := range chords {
		if used[i] {
			continue
		}
		used[i] = true
		line := grow([]UV{c[0], c[1]})
		for l, r := 0, len(line)-1; l < r; l, r = l+1, r-1 {
			line[l], line[r] = line[r], line[l]
		}
		out = append(out, grow(line))
	}
	return out
}
