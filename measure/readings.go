package measure

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/uncertainty"
)

// Distances that somebody read off the pictures: what the plan keeps of them are their ends. An end set by eye is as
// uncertain as a hand on a voxel; one that lies on an edge of bone which the program fits there again, as that edge.

const (
	// Standard uncertainty of an end that is set by eye, mm: two of them make the 0.20 mm that practice takes for a skilled
	// reader (Expert of practice.Rules). Our choice.
	pointing = 0.20 / math.Sqrt2

	onEdge    = 0.02 // mm between an end and the edge it was snapped to: the plan keeps three decimals
	inSection = 0.05 // mm off a section's plane at which an end still lies in it
)

// readingRows adds the readings of a site.
func (c *run) readingRows(s *site) {
	for _, one := range c.plan.Readings {
		if one.Site == s.plan.ID {
			s.add(c.reading(one, s.frame, s.ridge))
		}
	}
}

// freeReadings are those of no site: each is held against the section that it lies in.
func (c *run) freeReadings() (rows []ArchRow) {
	for _, one := range c.plan.Readings {
		if one.Site != "" {
			continue
		}
		var o *ridge.Ridge
		arc, _ := c.curve.Project(r3.Scale(0.5, r3.Add(one.From, one.To)))
		f := c.curve.Frame(arc)
		if one.Snapped {
			o = c.edgesAt(f)
		}
		rows = append(rows, ArchRow{"arch", c.reading(one, f, o)})
	}
	return rows
}

// edgesAt outlines the bone of a section for its edges; nil where none is found.
func (c *run) edgesAt(f reformat.Frame) *ridge.Ridge {
	o, err := ridge.Trace(reformat.NewField(c.v, f), c.tissue)
	if err != nil {
		return nil
	}
	return o.Weigh()
}

// reading makes the row of a reading, in a section where it lies in one.
func (c *run) reading(one plan.Reading, f reformat.Frame, o *ridge.Ridge) Row {
	d := r3.Sub(one.To, one.From)
	value := r3.Norm(d)
	way := r3.Scale(1/math.Max(value, 1e-9), d)
	by := "read off the picture"
	if one.Reader != "" {
		by += " by " + one.Reader
	}
	b, ends := c.setByEye(), "ends set by eye"
	if one.Snapped {
		ends = "its ends lie on no edge that is found now: taken as set by eye"
		if edges, ok := edgesOf(one, f, o); ok {
			b, ends = onEdges(edges, f, way), "both ends on fitted edges of bone"
		}
	}
	b = append(b, c.scaleShare(value, 1))
	return newRow(quantity.Reading, one.ID, by+"; "+ends).with(value, b)
}

// setByEye is the budget of two ends that a hand set: where the hand was, and which voxel it took for the edge.
func (c *run) setByEye() uncertainty.Budget {
	voxel := uncertainty.Rectangular(math.Max(c.voxel[0], math.Max(c.voxel[1], c.voxel[2])) / 2)
	var b uncertainty.Budget
	for _, end := range []string{"first end", "second end"} {
		b = append(b, uncertainty.Term{Name: "pointing, " + end, Std: pointing}, uncertainty.Term{Name: "voxel, " + end, Std: voxel})
	}
	return b
}

// onEdges is the budget of two ends on fitted edges: square to its edge an end is as uncertain as the fit, along it as the hand.
func onEdges(edges [2]ridge.Edge, f reformat.Frame, way r3.Vec) uncertainty.Budget {
	var b uncertainty.Budget
	for i, end := range []string{"first end", "second end"} {
		across := math.Min(1, math.Abs(r3.Dot(f.Direction(edges[i].Normal), way)))
		b = append(b, uncertainty.Moved("edge, "+end, edges[i].Std, across), uncertainty.Moved("pointing, "+end, pointing, math.Sqrt(1-across*across)))
	}
	return b
}

// edgesOf returns the edges that a reading's ends lie on; ok is false where one lies on none, or not in the section.
func edgesOf(one plan.Reading, f reformat.Frame, o *ridge.Ridge) (edges [2]ridge.Edge, ok bool) {
	if o == nil {
		return edges, false
	}
	for i, p := range []r3.Vec{one.From, one.To} {
		at, off := f.Section(p)
		if math.Abs(off) > inSection {
			return edges, false
		}
		e, err := o.EdgeNear(at, onEdge)
		if err != nil {
			return edges, false
		}
		edges[i] = e
	}
	return edges, true
}

// Snap is how far from a place an edge of bone is looked for, mm: a hand's tremor on the screen, twice over. Our choice.
const Snap = 1.0

// Edges are the edges of bone in one section, for callipers that snap to them. Many may ask them at once.
type Edges struct {
	frame reformat.Frame
	bone  *ridge.Ridge
}

// EdgesAt outlines the bone in the section at arc length arc (mm) of a plan's arch, with what t has learnt by a run along
// it. It returns an error where t has learnt nothing of that arch yet, or the section shows no bone.
func (t *Cache) EdgesAt(v *volume.Volume, p *plan.Placed, arc float64) (*Edges, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.knows(v, p) {
		return nil, errors.New("measure: nothing is measured on this arch yet: no edge is known")
	}
	f := p.Curve.Frame(arc)
	o := (&run{v: v, tissue: t.model.tissue}).edgesAt(f)
	if o == nil {
		return nil, fmt.Errorf("%w at %.1f mm along the arch", ridge.ErrNoRidge, arc)
	}
	return &Edges{f, o}, nil
}

// Near returns the place of the fitted edge nearest to p within [Snap], patient, mm, in the section's plane, and its
// standard uncertainty square to the edge, mm.
func (e *Edges) Near(p r3.Vec) (at r3.Vec, std float64, err error) {
	uv, _ := e.frame.Section(p)
	found, err := e.bone.EdgeNear(uv, Snap)
	if err != nil {
		return r3.Vec{}, 0, err
	}
	return e.frame.Patient(found.At), found.Std, nil
}
