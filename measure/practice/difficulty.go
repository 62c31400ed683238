package practice

import (
	"math"
	"slices"

	"ridgerule/measure/phantom"
	"ridgerule/measure/quantity"
	"ridgerule/measure/uncertainty"
)

// Level is how hard an item is, worked out from known causes.
type Level string

// The levels of an item, and of a set; Mixed is of sets alone.
const (
	Easy   Level = "easy"
	Middle Level = "middle"
	Hard   Level = "hard"
	Mixed  Level = "mixed"
)

// apart is how many levels lie between two of an item.
func (l Level) apart(o Level) int {
	order := []Level{Easy, Middle, Hard}
	d := slices.Index(order, l) - slices.Index(order, o)
	return max(d, -d)
}

// Driver is one cause of difficulty: 0 where it is absent, about 1 where it begins to mislead.
type Driver struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
}

// Where a level ends, as a sum of drivers: our choice, to be fitted once readings of many readers exist.
const (
	easyBelow = 2.2
	hardFrom  = 3.4
)

// sizeStep is what a length of bone is held against: an implant's length and 2 mm of room, mm. Trade sizes.
var sizeStep = []float64{8, 10, 12, 14}

// driversOf lists what makes a question hard in a jaw that o describes.
func driversOf(o phantom.Options, tooth int, q Question) []Driver {
	s := o.Shape
	fwhm := 2.355 * o.Scan.Blur
	out := []Driver{
		{"blur", o.Scan.Blur / 0.3},
		{"noise against contrast", 10 * o.Scan.Noise / contrast},
		{"tilt", math.Abs(s.Tilt) / 15},
		{"curvature of the arch", [9]float64{0, .8, .7, .5, .35, .25, .15, .1, .05}[tooth%10]},
		{"metal", o.Artefacts.Streaks / 300},
	}
	if len(o.Sockets) > 0 {
		out = append(out, Driver{"socket", 0.5 + 0.5*o.Healing})
	}
	add := func(name string, v float64) { out = append(out, Driver{name, v}) }
	switch q.Quantity {
	case quantity.BuccalPlate, quantity.LingualPlate:
		plate := map[quantity.Name]float64{quantity.BuccalPlate: s.Buccal, quantity.LingualPlate: s.Lingual}[q.Quantity]
		if plate == 0 {
			plate = 1.5
		}
		add("plate against resolution", 1.5*fwhm/plate)
	case quantity.RidgeWidth:
		if s.CrestCap > s.Width/2 {
			add("slope of the walls", s.Width/s.CrestCap*2/(1+q.At))
		}
	case quantity.Clearance:
		add("root against ligament", 0.4)
		add("lean of the root", s.RootLean/20)
	case AnteriorLoop:
		add("canal out of its plane", 0.8)
		add("short loop", 3/(1+s.Loop))
	case quantity.LingualUndercut:
		add("undercut", 0.4+0.3*s.Undercut)
	case quantity.RidgeHeight:
		add("limit near a size step", nearStep(map[string]float64{"canal": s.CanalDepth, "sinus": s.SinusDepth}[q.To]))
		add("undercut", s.Undercut/4)
		add("lining", s.SinusMucosa/4)
		add("septum", s.Septum/10)
	}
	return out
}

// nearStep is 1 where a height (mm) stands at a size step, 0 half a millimetre from every one.
func nearStep(height float64) float64 {
	near := 0.0
	for _, step := range sizeStep {
		near = math.Max(near, 1-2*math.Abs(height-step))
	}
	return near
}

// levelOf is the level of a list of drivers.
func levelOf(d []Driver) Level {
	sum := 0.0
	for _, x := range d {
		sum += x.Value
	}
	switch {
	case sum < easyBelow:
		return Easy
	case sum < hardFrom:
		return Middle
	}
	return Hard
}

// contrast is the step of grey values from soft tissue to cortex in the phantom's usual levels.
const contrast = 1550.0

// scanBudget is what the scan leaves open of a length between two edges, mm: the noise where the blurred edge
// is steepest, contrast/(blur·√2π), over the nine voxels that an eye takes together; where in a voxel the edge
// falls; a rectangular 0.05 mm of edge rule for each edge. For an angle, deg: the same edges at both ends of
// the 7 mm over which an axis is laid.
func scanBudget(o phantom.Options, q Question) uncertainty.Budget {
	edge := o.Scan.Noise * o.Scan.Blur * math.Sqrt(2*math.Pi) / contrast / 3
	each := math.Sqrt2
	if q.Quantity == quantity.Clearance {
		each = 1 // the other edge is drawn
	}
	if q.Unit() == "deg" {
		each = 180 / math.Pi / 7 // two middles of two edges each: √2·√2/2 = 1
	}
	return uncertainty.Budget{
		{Name: "edge noise", Std: edge, Sensitivity: each},
		{Name: "voxel sampling", Std: uncertainty.Rectangular(o.Scan.Voxel[0] / 4), Sensitivity: each},
		{Name: "edge rule", Std: uncertainty.Rectangular(0.05), Sensitivity: each},
	}
}
