package change

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/align"
	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
	"ridgerule/measure/uncertainty"
)

// The level of the bone beside an implant: how far below its platform, along its axis, the bone begins, mm; + below, negative
// where bone reaches above the platform. Change is + where bone was lost.
//
// Blooming and blur hide what lies nearest to metal. The level is therefore taken on lines beside the axis, as near as the
// wider blur of the two scans lets bone be seen, on the same lines in both scans; how the bone runs on from there to the implant is not seen.
const (
	LevelMesial  quantity.Name = "bone_level_mesial"
	LevelDistal  quantity.Name = "bone_level_distal"
	LevelBuccal  quantity.Name = "bone_level_buccal"
	LevelLingual quantity.Name = "bone_level_lingual"
)

// Our choices.
const (
	levelAbove  = 4.0  // mm over the platform from where bone is looked for
	levelStep   = 0.05 // mm
	levelApart  = 0.4  // mm between the nearer and the farther lines
	levelBlurs  = 2.0  // blurs beyond the edge of metal: a rim of metal of 3000 grey values leaves 70 there
	mostHidden  = 1.5  // mm: what lies farther from an implant says nothing about the bone at it
	mostUnknown = 0.5  // mm: standard uncertainty of the level at the implant, beyond which there is none
	leastLines  = 4    // of the five
)

// levelLines are the lines of one side, degrees about the axis.
var levelLines = []float64{-20, -10, 0, 10, 20}

// stood is an implant, or the place of one, in one scan.
type stood struct {
	scan  volume.Probe
	bone  float64 // grey value from which on a voxel is bone
	edge  float64 // standard uncertainty of an edge of bone, mm
	metal bool
	align.FoundImplant
}

// seen is the level at one side in one scan.
type seen struct {
	level, scatter float64 // mm
	slope          float64 // by how much it is deeper a millimetre farther from the implant
}

// boneLevels compares the level of the bone at the four sides of a site's placed implant.
func (c *comparison) boneLevels(i int, placed *Placed, why string) []Row {
	site := &c.first.Sites[i]
	rows := make([]Row, 4)
	for k, q := range []quantity.Name{LevelMesial, LevelDistal, LevelBuccal, LevelLingual} {
		rows[k] = Row{Site: site.ID, Quantity: q, Shown: NotAssessed, Note: why}
	}
	if placed == nil {
		return rows
	}
	before, after := c.stoodBefore(placed), c.stoodAfter(placed)
	hidden := max(before.Bloom, after.Bloom, 0) + levelBlurs*max(blurOf(c.first), blurOf(c.second))
	s := c.sides(site)
	for k, dir := range []r3.Vec{s.Mesial, r3.Scale(-1, s.Mesial), s.Buccal, r3.Scale(-1, s.Buccal)} {
		if hidden > mostHidden {
			rows[k].Note = fmt.Sprintf("blooming and blur hide %.1f mm beside the implant", hidden)
			continue
		}
		c.boneLevel(&rows[k], before, after, dir, hidden)
	}
	return rows
}

// boneLevel fills the row of one side, dir in the first scan.
func (c *comparison) boneLevel(row *Row, before, after stood, dir r3.Vec, hidden float64) {
	was, err := before.level(dir, hidden)
	if err != nil {
		row.Note = "before: " + err.Error()
		return
	}
	is, err := after.level(c.t.Turn(dir), hidden)
	if err != nil {
		row.Note = "after: " + err.Error()
		return
	}
	row.Before, row.After = &was.level, &is.level
	row.Change = uncertainty.Length{Value: is.level - was.level, Budget: c.levelBudget(before, after, was, is, hidden)}
	row.Note = fmt.Sprintf("seen from %.1f mm beside it on; blooming hides what is nearer", hidden)
	if !before.metal {
		row.Note = cells.Note(row.Note, "before: where the implant now stands")
	}
	if row.Change.Std() > mostUnknown {
		row.Before, row.After, row.Change = nil, nil, uncertainty.Length{}
		row.Note = fmt.Sprintf("the bone falls away beside the implant by %.1f mm a millimetre: its level at the implant, hidden by blooming, cannot be told", is.slope)
		return
	}
	row.Shown = c.shown(row.Change)
}

// levelBudget is that of after less before. What both scans hide alike cancels; by how much the slope of the bone beside the implant has
// changed does not.
func (c *comparison) levelBudget(before, after stood, was, is seen, hidden float64) uncertainty.Budget {
	b := uncertainty.Budget{
		{Name: "after: edge of the bone", Std: after.edge}, {Name: "before: edge of the bone", Std: before.edge},
		{Name: "after: lines of one side", Std: is.scatter}, {Name: "before: lines of one side", Std: was.scatter},
		{Name: "slope of the bone that blooming hides", Std: uncertainty.Rectangular(math.Abs(is.slope-was.slope) * hidden)},
		c.sizeTerm(was.level),
	}
	if before.metal {
		return append(b, uncertainty.Term{Name: "after: platform found along its axis", Std: after.Along}, uncertainty.Term{Name: "before: platform found along its axis", Std: before.Along})
	}
	t, _ := c.t.Term(after.Platform, after.Axis)
	return append(b, t)
}

// stoodAfter is the implant as it was found in the second scan.
func (c *comparison) stoodAfter(p *Placed) stood {
	return stood{c.after.Volume.Probe(), align.BoneGrey(c.after.Volume), edgeOf(c.second), true, p.Found}
}

// stoodBefore is the implant as it is found in the first scan, or where it would stand there.
func (c *comparison) stoodBefore(p *Placed) stood {
	out := stood{scan: c.before.Volume.Probe(), bone: align.BoneGrey(c.before.Volume), edge: edgeOf(c.first)}
	near := p.Found.Implant
	near.Platform, near.Axis = c.place(near.Platform), c.t.Inverse().Turn(near.Axis)
	out.Implant = near
	if found, err := align.FindPlaced(c.before.Volume, near); err == nil {
		out.FoundImplant, out.metal = found, true
	}
	return out
}

// blurOf is the blur of a scan, SD in mm; half a voxel where it was not estimated.
func blurOf(r *measure.Result) float64 {
	if b := r.Scan.Blur; b > 0 {
		return b
	}
	return slices.Max(r.Scan.Spacing[:]) / 2
}

// edgeOf is the standard uncertainty of an edge read off single profiles, mm, as the ridge's outline has it.
func edgeOf(r *measure.Result) float64 { return max(0.05, 0.3*blurOf(r)) }

// level looks for the bone along lines at one side, dir in the scan's own frame; hidden mm from the implant's side and somewhat
// farther.
func (s stood) level(dir r3.Vec, hidden float64) (seen, error) {
	dir = r3.Unit(r3.Sub(dir, r3.Scale(r3.Dot(dir, s.Axis), s.Axis)))
	aside := r3.Cross(s.Axis, dir)
	var at [2]float64
	var scatter float64
	for k := range at {
		r := max(s.Diameter, s.Apex)/2 + hidden + float64(k)*levelApart
		var found []float64
		var fault error
		for _, degrees := range levelLines {
			sin, cos := math.Sincos(degrees * math.Pi / 180)
			z, err := s.bonyFrom(r3.Add(s.Platform, r3.Scale(r, r3.Add(r3.Scale(cos, dir), r3.Scale(sin, aside)))))
			if err != nil {
				fault = err
				continue
			}
			found = append(found, z)
		}
		if len(found) < leastLines {
			return seen{}, fault
		}
		slices.Sort(found)
		at[k] = found[len(found)/2]
		if k == 0 { // neighbouring lines share voxels: their middle is known to half of what they scatter by
			scatter = (found[len(found)-2] - found[1]) / 2 / 2
		}
	}
	return seen{at[0], scatter, (at[1] - at[0]) / levelApart}, nil
}

// bonyFrom returns how far below p along the implant's axis the bone begins, mm: half-way in grey between what lies above its edge and the
// bone.
func (s stood) bonyFrom(p r3.Vec) (float64, error) {
	g := make([]float64, int((levelAbove+s.Length)/levelStep))
	for i := range g {
		g[i] = s.scan.At(r3.Add(p, r3.Scale(float64(i)*levelStep-levelAbove, s.Axis)))
		if math.IsNaN(g[i]) {
			return 0, errors.New("the field ends beside the implant")
		}
	}
	const short, deep, over = 10, 24, 32 // half a millimetre; below and above the edge what is taken for bone and for what covers it
	if g[0] >= s.bone {
		return 0, fmt.Errorf("bone, a tooth or metal reaches more than %g mm above the platform here", levelAbove)
	}
	first := -1
	for i := 1; i+deep < len(g) && first < 0; i++ {
		if slices.Min(g[i:i+short]) >= s.bone {
			first = i
		}
	}
	if first < 0 {
		return 0, errors.New("no bone is seen on this side along the implant's whole length")
	}
	above, below := slices.Clone(g[max(0, first-over):max(1, first-short)]), slices.Clone(g[first:first+deep])
	slices.Sort(above)
	slices.Sort(below)
	level := (above[len(above)/2] + below[len(below)*3/4]) / 2
	for off := range short {
		for _, i := range [2]int{first - off, first + off} {
			if i > 0 && g[i-1] < level && g[i] >= level {
				return (float64(i-1)+(level-g[i-1])/(g[i]-g[i-1]))*levelStep - levelAbove, nil
			}
		}
	}
	return float64(first)*levelStep - levelAbove, nil
}
