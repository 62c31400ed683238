package propose

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// search looks through the field for places where an arch may lie and returns the best trail of each band
// of heights, from the lowest up. Without a whole arch it is the best piece of one.
func (c *cells) search(ctx context.Context) ([]trail, error) {
	low, high := c.extent()
	const coarse = 8.0 // degrees
	var levels []float64
	for z := low.Z + 2; z <= high.Z-2; z += 3 {
		levels = append(levels, z)
	}
	best := make([]trail, len(levels))
	for i, z := range levels {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for x := (low.X+high.X)/2 - 24; x <= (low.X+high.X)/2+24; x += 8 {
			for y := low.Y + 25; y <= high.Y-5; y += 8 {
				at := tilted(r3.Vec{X: x, Y: y, Z: z}, 0, 0)
				if !c.promising(at) {
					continue
				}
				if t := c.follow(fan(at, coarse)); t.mean > best[i].mean {
					best[i] = t
				}
			}
		}
	}
	var out []trail
	for _, b := range bandsOf(best) {
		t, err := c.tilt(ctx, best[b[0]:b[1]])
		if err != nil {
			return nil, err
		}
		if t.whole() {
			out = append(out, t)
		}
	}
	if len(out) == 0 {
		return c.pieces(ctx, levels)
	}
	return out, nil
}

// promising reports whether a fan at p meets bone on most of a few rays: a quick look before the fan is laid.
func (c *cells) promising(p plane) bool {
	const few, enough = 30.0, 4
	hits := 0
	for _, r := range fan(p, few).rays {
		if math.Abs(r.angle) > 2*few {
			continue
		}
		for x := 0.0; x < fanReach; x += 1.5 {
			if c.boneAt(r3.Add(r.from, r3.Scale(x, r.dir))) > 0.5 {
				hits++
				break
			}
		}
	}
	return hits >= enough
}

// What is about as good as the best: a share of its score; and how far apart two pieces are two, mm of height. Our choice.
const (
	share      = 0.6
	otherPiece = 6.0
)

// bandsOf returns the runs of heights [from, to) that show an arch about as well as the best one does.
func bandsOf(best []trail) (bands [][2]int) {
	top := 0.0
	for _, t := range best {
		top = math.Max(top, t.mean)
	}
	const least = 0.2
	for i := 0; i < len(best); {
		j := i
		for j < len(best) && best[j].mean >= math.Max(share*top, least) {
			j++
		}
		if j-i >= 2 {
			bands = append(bands, [2]int{i, j})
		}
		i = max(j, i+1)
	}
	return bands
}

// tilt looks for the tilt, height and middle with the best trail about those of a band.
func (c *cells) tilt(ctx context.Context, band []trail) (trail, error) {
	var best trail
	middle := band[0]
	for _, t := range band {
		if t.mean > middle.mean {
			middle = t
		}
	}
	value := math.Inf(-1)
	for _, t := range band {
		if err := ctx.Err(); err != nil {
			return best, err
		}
		at := middle.plane.at
		at.Z = t.plane.at.Z
		for pitch := -14.0; pitch <= 14; pitch += 7 {
			for roll := -7.0; roll <= 7; roll += 7 {
				u := c.follow(fan(tilted(at, pitch, roll), 4))
				if v := u.mean - 0.002*(math.Abs(pitch)+math.Abs(roll)); v > value { // level planes first
					best, value = u, v
				}
			}
		}
	}
	return best, nil
}

// whole reports whether a fan's trail is a whole arch: nearly all rays over 140° about the front meet a ridge.
func (t *trail) whole() bool {
	met, all := 0, 0
	for i, r := range t.rays {
		if math.Abs(r.angle) <= 70 {
			all++
			if t.met(i) {
				met++
			}
		}
	}
	return t.fan && float64(met) >= 0.75*float64(all)
}

// pieces looks for the best piece of an arch at each height and in each direction, and returns the best of all and others
// nearly as good at other heights, the best first: a cavity's wall may run as straight as a ridge.
func (c *cells) pieces(ctx context.Context, levels []float64) (out []trail, err error) {
	low, high := c.extent()
	centre := r3.Scale(0.5, r3.Add(low, high))
	half := math.Min(60, math.Max(high.X-low.X, high.Y-low.Y)/2)
	best := make([]trail, len(levels))
	for i, z := range levels {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		centre.Z = z
		for turn := 0.0; turn < 180; turn += 15 {
			if t := c.follow(parallels(tilted(centre, 0, 0), turn, half)); t.mean > best[i].mean {
				best[i] = t
			}
		}
	}
	slices.SortFunc(best, func(a, b trail) int { return cmp.Compare(b.mean, a.mean) })
	if len(best) == 0 || best[0].longest() < leastPiece {
		return nil, nil
	}
	for _, t := range best {
		near := func(u trail) bool { return math.Abs(u.plane.at.Z-t.plane.at.Z) < otherPiece }
		if t.mean >= share*best[0].mean && t.longest() >= leastPiece && !slices.ContainsFunc(out, near) {
			out = append(out, t)
		}
	}
	return out, nil
}
