package measure

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/fit"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

// A cavity found in the image over a site, as a body: its floor is looked for on a grid of lines, along the
// arch and across it, parallel to the site's axis, and everything apical of it counts as cavity. The planned
// implant and every size tried ask this body for their distance.

const (
	roughFloor  = 0.2     // mm, 1 sigma: of a floor that is read off a profile because no fit takes it
	floorStep   = fanStep // mm between the lines of the grid, both ways: on the sections that are outlined anyhow; what a floor does between them is in the SD
	cavityDeep  = 45.0    // mm below the crest: how far the body reaches, past every implant
	beyondReach = 1.0     // mm by which the grid reaches past the margin around the implants asked about
)

// cavity is a found cavity.
type cavity struct {
	body   safety.Structure // a closed surface
	untold []r3.Vec         // where air is, or the field ends, and no floor can be told, mm
	margin float64          // of its kind, mm
}

// floorNode is a line of the grid: where it meets the floor.
type floorNode struct {
	frame reformat.Frame
	line  ridge.Axis
	at    r3.Vec
	depth float64 // below the line's crest point, mm; NaN: none met
	sd    float64 // of the edge, mm
	open  bool    // the floor cannot be told
}

// cavityOver returns the cavity found over the site, for implants within half the grid's width (mm) across
// the arch and along it; nil where none was found.
func (c *run) cavityOver(s *site, across, along float64) *cavity {
	if !s.height.seen {
		return nil
	}
	t := c.standing(s)
	m, n := int(math.Ceil(across/floorStep)), int(math.Ceil(along/floorStep))
	grid := make([][]floorNode, 2*n+1)
	for k := range grid {
		cut := t.outlined(k - n)
		for j := -m; j <= m; j++ {
			grid[k] = append(grid[k], c.floorNode(s, cut, float64(j)*floorStep))
		}
	}
	kind := safety.Kind(s.height.to)
	out := &cavity{margin: c.rules[string(kind)].Margin}
	out.body = safety.Structure{Name: quantity.InWords(s.height.to) + " seen in the image", Kind: kind, SD: floorSD(grid)}
	out.untold = settle(grid)
	out.body.Surface = block(grid, s.frame.Direction(s.axis.Dir))
	return out
}

// floorNode looks for the floor on the line that lies off mm buccally of the site's axis in a section.
func (c *run) floorNode(s *site, cut slice, off float64) floorNode {
	n := floorNode{frame: cut.frame, depth: math.NaN(), open: true}
	side := s.axis.Side()
	n.line = ridge.Axis{Dir: s.axis.Dir, Crest: reformat.UV{U: s.axis.Crest.U + off*side.U, V: s.axis.Crest.V + off*side.V}}
	if cut.outline == nil {
		n.frame = s.frame
		return n
	}
	low, _ := cut.outline.Near(n.line.At(s.height.Value/2), n.line.Dir)
	if math.IsNaN(low) { // beside the ridge: no bone, and what is there is no cavity
		n.open = false
		return n
	}
	in := n.line
	in.Crest = n.line.At(s.height.Value/2 + low)
	fitted := cut.ridge
	if fitted == nil {
		fitted = cut.outline.Fit()
	}
	f, err := fitted.Floor(in)
	switch {
	case err == nil:
		n.open, n.sd = false, f.Budget.Std()
		n.depth, n.at = s.height.Value/2+low+f.Depth, n.frame.Patient(f.At)
	case errors.Is(err, ridge.ErrFloor):
		at, depth, ok := cut.outline.RoughFloor(in)
		if !ok {
			break
		}
		n.open, n.sd = false, math.Max(roughFloor, c.edgeSD())
		n.depth, n.at = s.height.Value/2+low+depth, n.frame.Patient(at)
	case errors.Is(err, ridge.ErrNoCavity):
		n.open = math.IsNaN(c.v.At(n.frame.Patient(n.line.At(s.height.Value + floorToBone)))) // the field ends first
	}
	return n
}

// put places the node's floor at a depth, mm.
func (n *floorNode) put(depth float64) {
	n.depth, n.at = depth, n.frame.Patient(n.line.At(depth))
}

// floorSD is the standard uncertainty of the floor, mm: of its edge on the lines, and of what it does between
// them, from how far a node lies off the middle of its neighbours (half of that, for a floor that bends evenly).
func floorSD(grid [][]floorNode) float64 {
	var sum, n float64
	var bends []float64
	for k, row := range grid {
		for j, x := range row {
			if math.IsNaN(x.depth) {
				continue
			}
			sum, n = sum+x.sd*x.sd, n+1
			if k > 0 && k+1 < len(grid) && j > 0 && j+1 < len(row) {
				bend := x.depth - (grid[k-1][j].depth+grid[k+1][j].depth+row[j-1].depth+row[j+1].depth)/4
				if !math.IsNaN(bend) {
					bends = append(bends, math.Abs(bend)/2)
				}
			}
		}
	}
	between := 0.0
	if len(bends) > 0 {
		between = fit.Scatter(bends) // the SD of a normal spread from its median
	}
	return math.Hypot(math.Sqrt(sum/math.Max(n, 1)), between)
}

// enoughAround is how many of a line's eight neighbours must have a floor for it to lie as near as the nearest
// of theirs where its own cannot be told. Our choice.
const enoughAround = 3

// settle gives every line a floor: next to a known one as near as that, for the cavity's side wall stands
// somewhere between the two; elsewhere out of every implant's reach. It returns where the floor is not told.
func settle(grid [][]floorNode) (untold []r3.Vec) {
	least := make([][]float64, len(grid)) // of the known neighbours
	around := map[[2]int]int{}            // how many those are
	whole := math.Inf(1)
	for k, row := range grid {
		least[k] = make([]float64, len(row))
		for j := range row {
			least[k][j] = math.Inf(1)
			for dk := -1; dk <= 1; dk++ {
				for dj := -1; dj <= 1; dj++ {
					if a, b := k+dk, j+dj; a >= 0 && a < len(grid) && b >= 0 && b < len(row) && !math.IsNaN(grid[a][b].depth) {
						least[k][j] = math.Min(least[k][j], grid[a][b].depth)
						around[[2]int{k, j}]++
						whole = math.Min(whole, grid[a][b].depth)
					}
				}
			}
		}
	}
	for k := range grid {
		for j := range grid[k] {
			n := &grid[k][j]
			if !math.IsNaN(n.depth) {
				continue
			}
			n.put(math.Min(cavityDeep-1, least[k][j]))
			if n.open && around[[2]int{k, j}] < enoughAround {
				untold = append(untold, n.frame.Patient(n.line.At(math.Min(whole, least[k][j]))))
			}
		}
	}
	return untold
}

// block is the closed surface between the floor and its shift along the axis.
func block(grid [][]floorNode, axis r3.Vec) *solid.Surface {
	s := &solid.Surface{}
	across := len(grid[0])
	id := func(k, j, top int) int { return 2*(k*across+j) + top }
	for _, row := range grid {
		for _, n := range row {
			s.Points = append(s.Points, n.at, r3.Add(n.at, r3.Scale(cavityDeep-n.depth, axis)))
		}
	}
	quad := func(a, b, c, d int) { s.Triangles = append(s.Triangles, [3]int{a, b, c}, [3]int{a, c, d}) }
	for k := range len(grid) - 1 {
		for j := range across - 1 {
			quad(id(k, j, 0), id(k+1, j, 0), id(k+1, j+1, 0), id(k, j+1, 0))
			quad(id(k, j, 1), id(k, j+1, 1), id(k+1, j+1, 1), id(k+1, j, 1))
		}
	}
	wall := func(ak, aj, bk, bj int) {
		quad(id(ak, aj, 0), id(bk, bj, 0), id(bk, bj, 1), id(ak, aj, 1))
	}
	last := len(grid) - 1
	for j := range across - 1 {
		wall(0, j, 0, j+1)
		wall(last, j+1, last, j)
	}
	for k := range last {
		wall(k+1, 0, k, 0)
		wall(k, across-1, k+1, across-1)
	}
	if s.Volume() < 0 {
		for i, t := range s.Triangles {
			s.Triangles[i] = [3]int{t[0], t[2], t[1]}
		}
	}
	return s
}

// open reports whether the floor near an implant cannot be told.
func (v *cavity) open(im safety.Implant) bool {
	return slices.ContainsFunc(v.untold, func(p r3.Vec) bool { return toSurface(p, im) < v.margin+floorStep/2 })
}

// cavityFor returns the cavity over the site for its implant and for every size that is tried there.
func (c *run) cavityFor(s *site) *cavity {
	if s.cavity != nil || !s.height.seen {
		return s.cavity
	}
	reach := widest(s.plan)/2 + c.rules[string(s.height.to)].Margin + beyondReach
	across, along := reach, reach
	if im := s.out.Implant; im != nil {
		for _, p := range []r3.Vec{im.Platform, im.Apex()} {
			uv, off := s.frame.Section(p)
			aside := dotUV(reformat.UV{U: uv.U - s.axis.Crest.U, V: uv.V - s.axis.Crest.V}, s.axis.Side())
			across, along = math.Max(across, math.Abs(aside)+reach), math.Max(along, math.Abs(off)+reach)
		}
	}
	if s.plan.Sizes != nil && len(s.plan.Sizes.Lengths) > 0 {
		poses, long := c.poses(s, s.plan.Sizes.Widest()), slices.Max(s.plan.Sizes.Lengths)
		swing := func(lean [2]float64) float64 {
			return long * math.Sin(math.Max(math.Abs(lean[0]), math.Abs(lean[1]))*math.Pi/180)
		}
		across = math.Max(across, reach+math.Max(math.Abs(poses.Lateral[0]), math.Abs(poses.Lateral[1]))+swing(poses.InSection))
		along = math.Max(along, reach+swing(poses.MesioDistal))
	}
	s.cavity = c.cavityOver(s, across, along)
	return s.cavity
}

// toCavity is the finding of an implant against the cavity found over its site.
func (c *run) toCavity(s *site, im safety.Implant) []safety.Finding {
	v := c.cavityFor(s)
	if v == nil {
		return nil
	}
	open := func(why string) []safety.Finding {
		none := uncertainty.Length{Value: math.NaN()}
		return []safety.Finding{safety.Hold(v.body.Name, v.body.Kind, none, [2]r3.Vec{}, c.rules, string(v.body.Kind), why)}
	}
	if v.open(im) {
		return open(v.body.Name + ": its floor was not found under the whole apex")
	}
	scene, err := safety.NewScene([]safety.Structure{v.body})
	if err != nil {
		return open(plain(err))
	}
	findings, err := scene.Check(im, c.rules, safety.Options{Terms: c.poseTerms(s), ScaleHalf: c.plan.ScaleHalfWidth})
	if err != nil {
		return open(plain(err))
	}
	for _, f := range findings {
		f.Distance.Budget[0].Name = "floor found in the image"
	}
	return findings
}
