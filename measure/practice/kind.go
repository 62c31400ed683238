package practice

import (
	"math/rand/v2"

	"ridgerule/measure/phantom"
	"ridgerule/measure/quantity"
)

// kind is one sort of site that a set holds. To add one, add a row to kinds: one that teaches what a teaching site of the phantom
// teaches bears its name, and has jaw, shape and reason from it.
type kind struct {
	name  string // in the trade's words
	jaw   phantom.Kind
	ample bool  // bone enough and nothing that misleads
	teeth []int // on the patient's left; the right is its mirror image
	ask   []Question
	why   string // what misleads here, told when it was missed
	draw  func(s *phantom.Options, tooth int, in spread)
	base  phantom.Options // what draw begins with: the teaching site's
}

// spread draws a number between low and high, uniformly.
type spread func(low, high float64) float64

func newSpread(r *rand.Rand) spread {
	return func(low, high float64) float64 { return low + (high-low)*r.Float64() }
}

func width(at float64) Question { return Question{Quantity: quantity.RidgeWidth, At: at} }

var (
	toCanal = Question{Quantity: quantity.RidgeHeight, To: "canal"}
	toSinus = Question{Quantity: quantity.RidgeHeight, To: "sinus"}
	tilt    = Question{Quantity: quantity.RidgeTilt}
)

// kinds are the sorts of sites, each with what is asked there. Every range is invented.
var kinds = withReasons([]kind{
	{
		name: "ample ridge", ample: true, teeth: []int{35, 36},
		ask: []Question{toCanal, width(3), width(5), {Quantity: quantity.BuccalPlate, At: 5}},
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.Convexity, o.Shape.CanalDepth, o.Shape.Tilt = in(8, 10), in(0, 2), in(14.5, 17), in(-6, 6)
			o.Shape.Buccal = in(1.6, 2.2)
		},
	},
	{
		name: "ample ridge below a high sinus", jaw: phantom.Maxilla, ample: true, teeth: []int{25, 26},
		ask: []Question{toSinus, width(3), width(5)},
		why: "nothing misleads: what is missed is missed at the edges",
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.Convexity, o.Shape.SinusDepth, o.Shape.Tilt = in(8, 10), in(0, 2), in(12, 15), in(-6, 6)
		},
	},
	{
		name: "canal near the crest", teeth: []int{35, 36, 37},
		ask: []Question{toCanal},
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.CanalDepth, o.Shape.Tilt = in(6.5, 9), in(6.5, 10.5), in(-10, 10)
			o.Shape.CanalRadius, o.Shape.CanalWall = in(1.2, 1.8), in(0.25, 0.5)
		},
	},
	{
		name: "lingual undercut under the mylohyoid line", teeth: []int{36, 37},
		ask: []Question{{Quantity: quantity.LingualUndercut}, toCanal, width(5)},
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.Convexity, o.Shape.Undercut, o.Shape.Level = in(8, 10), in(1, 3), in(1.6, 3.4), in(10, 13)
			o.Shape.Tilt, o.Shape.CanalDepth = in(4, 14), in(13, 16)
		},
	},
	{
		name: "thin buccal plate", teeth: []int{21, 22, 24},
		ask: []Question{{Quantity: quantity.BuccalPlate, At: 3}, {Quantity: quantity.BuccalPlate, At: 5}, width(5)},
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.Buccal, o.Shape.Lingual, o.Shape.Tilt = in(6, 8), in(0.5, 0.9), in(1.2, 1.8), in(-18, -4)
		},
	},
	{
		name: "pointed, narrow crest", jaw: phantom.Mandible, teeth: []int{34, 35, 36},
		ask: []Question{width(1), width(2), width(3)},
		why: "the width changes quickly below a pointed crest: half a millimetre of depth is much of the width",
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.CrestCap, o.Shape.Convexity, o.Shape.Tilt = in(5, 7), in(6, 9.5), in(1, 3), in(-8, 8)
		},
	},
	{
		name: "ridge tilted in its section", teeth: []int{34, 35, 36},
		ask: []Question{tilt, width(5), toCanal},
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.Tilt, o.Shape.CanalDepth = in(6.5, 8.5), in(13, 24), in(11, 15)
		},
	},
	{
		name: "leaning front ridge", jaw: phantom.Maxilla, teeth: []int{21, 22, 23},
		ask: []Question{tilt, width(3), width(5)},
		why: "the axis leans: a line laid upright on the sheet is not the axis, and a level line is not across it",
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.Tilt, o.Shape.Undercut = in(6, 8), in(-24, -13), in(0, 1.2)
		},
	},
	{
		name: "low sinus", jaw: phantom.Maxilla, teeth: []int{25, 26},
		ask: []Question{toSinus, width(3)},
		why: "the lining of the sinus lies on its floor and is no bone: the height ends where bone ends",
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.SinusDepth, o.Shape.SinusMucosa, o.Shape.SinusFloor = in(7, 10), in(3.5, 7), in(0.5, 4), in(0.5, 0.9)
		},
	},
	{
		name: "low sinus with septum", teeth: []int{25, 26},
		ask: []Question{toSinus},
		draw: func(o *phantom.Options, tooth int, in spread) {
			o.Shape.Width, o.Shape.SinusDepth, o.Shape.SinusMucosa = in(7, 10), in(5, 8), in(0.5, 2)
			o.Shape.Septum, o.Shape.SeptumTooth, o.Shape.SeptumShift = in(4, 8), tooth, in(2, 3.5)
		},
	},
	{
		name: "neighbour's root under the site", jaw: phantom.Mandible, teeth: []int{35},
		ask: []Question{width(3), width(5)},
		why: "the neighbour's root leans under the crest: bone and tooth are told apart by the ligament space",
		draw: func(o *phantom.Options, tooth int, in spread) {
			o.Shape.Width, o.Shape.Tilt = in(6.5, 9), in(-8, 8)
			o.Teeth, o.Shape.RootLean = []int{tooth - 1}, in(30, 37)
		},
	},
	{
		name: "root beside the site", teeth: []int{35},
		ask: []Question{{Quantity: quantity.Clearance, To: "root"}},
		draw: func(o *phantom.Options, tooth int, in spread) {
			o.Teeth, o.Shape.Width, o.Shape.RootLean = []int{tooth - 1}, in(7, 9), in(3, 17)
		},
	},
	{
		name: "anterior loop", teeth: []int{34},
		ask: []Question{{Quantity: AnteriorLoop}},
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.Loop = in(7, 8), in(2, 6.5)
			o.Shape.CanalDepth, o.Shape.CanalRadius, o.Shape.CanalWall = loopDepth, loopRadius, in(0.2, 0.35)
		},
	},
	{
		name: "metal beside the site", jaw: phantom.Mandible, teeth: []int{35, 36},
		ask: []Question{toCanal, width(3), width(5)},
		why: "bands of a metal crown cross the section: the edge is where the band was not",
		draw: func(o *phantom.Options, tooth int, in spread) {
			o.Shape.Width, o.Shape.CanalDepth = in(7, 9.5), in(12, 16)
			o.Teeth, o.Artefacts.Streaks = []int{tooth + 1}, in(150, 400)
		},
	},
	{
		name: "knife-edge crest", teeth: []int{35, 36},
		ask: []Question{width(3), width(5), toCanal},
		draw: func(o *phantom.Options, _ int, in spread) {
			o.Shape.Width, o.Shape.CrestCap, o.Shape.Convexity, o.Shape.CanalDepth = in(2.5, 3.4), in(2.5, 3.5), in(6, 8), in(13, 16)
			o.Shape.Crest, o.Shape.Buccal, o.Shape.Lingual = in(1.2, 1.6), in(0.8, 1), in(0.9, 1.1)
		},
	},
	{
		name: "unhealed socket", teeth: []int{34, 35},
		ask: []Question{width(3), width(5)},
		draw: func(o *phantom.Options, tooth int, in spread) {
			o.Shape.Width, o.Shape.Convexity, o.Shape.CanalDepth, o.Shape.Tilt = in(7, 8.5), in(0.5, 2), in(15, 17), in(-6, 6)
			o.Sockets = []int{tooth}
		},
	},
	{
		name: "healed socket", teeth: []int{34, 35},
		ask: []Question{width(2), width(3), toCanal},
		draw: func(o *phantom.Options, tooth int, in spread) {
			o.Shape.Width, o.Shape.Convexity, o.Shape.CanalDepth, o.Shape.Tilt = in(7, 9), in(0.5, 2), in(14, 17), in(-6, 6)
			o.Sockets, o.Healing = []int{tooth}, in(0.6, 1)
		},
	},
})

// withReasons gives the kinds that have no reason of their own what the phantom's teaching site of their name says. It panics where there
// is none.
func withReasons(list []kind) []kind {
	sites := map[string]phantom.TeachingSite{}
	for _, l := range phantom.TeachingSites(0) {
		sites[l.Name] = l
	}
	for i := range list {
		k := &list[i]
		if k.why != "" {
			continue
		}
		l, there := sites[k.name]
		if !there {
			panic("practice: no teaching site is called " + k.name)
		}
		k.jaw, k.why = l.Options.Jaw, l.Teaches
		k.base = phantom.Options{Shape: l.Options.Shape, Sockets: l.Options.Sockets, Healing: l.Options.Healing}
		k.base.Shape.Variation = 0 // seeded: a site and its mirror image would differ
	}
	return list
}

// kindNamed returns the kind of that name; a zero kind where there is none.
func kindNamed(name string) kind {
	for _, k := range kinds {
		if k.name == name {
			return k
		}
	}
	return kind{}
}
