package phantom

import "fmt"

// TeachingSite is a site that teaches one thing, with its truth: widths at depths, plates, heights, tilt and
// undercuts in [AxisTruth], what it asks besides in [SocketTrue], [LoopTrue], [AxisTruth.Beside] and the
// clearances of [ImplantTrue].
type TeachingSite struct {
	Name    string // in the trade's words: "knife-edge crest"
	Teaches string // what goes wrong there, one sentence
	Tooth   int    // ISO 3950, the only site
	Options Options
}

// teachingEdge is the edge of a teaching site's scan, mm: the section with what lies beside it.
const teachingEdge = 34.0

// TeachingSites returns the sites that teach, each cut down to a cube of 34 mm at 0.3 mm. The seed goes into noise,
// texture and a slow variation of the shape; what a site is about is the same for all.
func TeachingSites(seed uint64) []TeachingSite {
	list := []TeachingSite{
		{"ample ridge", "most sites are clear, and nothing misleads: what is missed is missed at the edges", 36, Options{Shape: Shape{Width: 9, Convexity: 2, Height: 30, CanalDepth: 16}}},
		{"knife-edge crest", "the height is there, the width is not: the bone wide enough begins deep below the crest", 35, Options{
			Shape: Shape{Width: 2.6, CrestCap: 3, Convexity: 7, Crest: 1.5, Buccal: 0.9, Lingual: 1}}},
		{"thin buccal plate", "a plate thinner than about twice the blur reads too thick and too grey: its two edges run together", 12, Options{
			Jaw: Maxilla, Shape: Shape{Width: 7.5, Buccal: 0.5, Tilt: -14}}},
		{"lingual undercut under the mylohyoid line", "the lingual wall falls away below the ridge: the axis follows the upper part of the ridge, and a drill in it may leave the bone on the tongue's side", 37, Options{
			Shape: Shape{Width: 8, Undercut: 3.2, Level: 14, Tilt: 6}}},
		{"low sinus with septum", "the height to the septum's edge is not the height beside it: where a septum stands near the section, the floor beside it is the limit", 26, Options{
			Jaw: Maxilla, Shape: Shape{SinusDepth: 4.5, Septum: 5, SeptumThick: 1.6, SinusMucosa: 1.5}}},
		{"unhealed socket", "the crest is the socket's edge, and the ridge reaches from outer wall to outer wall: the socket between them counts, its own walls are not the ridge's", 35, Options{
			Shape: Shape{Width: 7.2, Convexity: 1, CanalDepth: 17}, Sockets: []int{35}}},
		{"healed socket", "the crest has sunk and has no cortex yet: its edge is faint, and lies lower than the neighbours'", 35, Options{
			Shape: Shape{Width: 7.2, Convexity: 1, CanalDepth: 17}, Sockets: []int{35}, Healing: 0.8}},
		{"canal near the crest", "tenths of a millimetre decide about the length, and the canal's roof is a wall of bone: the height ends at its upper, not at its inner edge", 36, Options{
			Shape: Shape{Width: 7.5, Height: 15, CanalDepth: 7, CanalRadius: 1.4}}},
		{"anterior loop", "the nerve runs on past the foramen: the foramen is not the limit", 34, Options{
			Shape: Shape{Width: 7.5, CanalRadius: 1.2, CanalDepth: 13, Loop: 5}}},
		{"ridge tilted in its section", "a width across the picture is not a width across the ridge: a line laid upright is not the axis, and a level line is not across it", 46, Options{
			Shape: Shape{Tilt: 24, Width: 7, Convexity: 1}}},
		{"root beside the site", "the neighbour's apex leans under the crest of the gap", 35, Options{
			Shape: Shape{Width: 8, RootLean: 22}, Teeth: []int{34}}},
	}
	for i := range list {
		list[i].complete(seed + uint64(i))
	}
	return list
}

// complete fills in what the teaching sites share.
func (l *TeachingSite) complete(seed uint64) {
	o := &l.Options
	o.Case, o.Seed = fmt.Sprintf("%s %d", l.Name, seed), seed
	if o.Teeth == nil {
		o.Teeth = []int{}
	}
	o.Shape.Variation, o.Grey.Texture = 0.2, 50
	o.Scan.Voxel, o.Scan.Blur, o.Scan.Noise = [3]float64{0.3, 0.3, 0.3}, 0.25, 50
	small, err := o.Small(l.Tooth, teachingEdge)
	if err != nil {
		panic("phantom: teaching site " + l.Name + ": " + err.Error()) // its tooth is written above
	}
	*o = small
}
