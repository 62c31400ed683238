package practice

import (
	"fmt"
	"strconv"

	"ridgerule/measure/phantom"
	"ridgerule/measure/quantity"
)

// Question is what is asked of a section.
type Question struct {
	Quantity quantity.Name `json:"quantity"`        // as in measurements.csv
	At       float64       `json:"at_mm,omitempty"` // depth below the crest, mm; 0: the quantity has none
	To       string        `json:"to,omitempty"`    // what a height ends at: canal, sinus, nasal_floor, border; "": what comes first
}

// measurand is what this room knows of a quantity.
type measurand struct {
	unsafe float64 // +1: a reading too large is the unsafe one; −1: too small; 0: neither
	inner  float64 // side of a plate: +1 buccal, −1 lingual
	view   View    // which way its section lies
}

// AnteriorLoop is how far the mandibular canal runs past its foramen toward the midline, mm: asked in sets alone, and so in
// no table of what is measured.
const AnteriorLoop quantity.Name = "anterior_loop"

// measurands are the quantities that are asked. Over-reading bone is the unsafe side: an implant is
// planned into what is not there. An undercut is the other way round.
var measurands = map[quantity.Name]measurand{
	quantity.RidgeHeight:     {unsafe: 1},
	quantity.RidgeWidth:      {unsafe: 1},
	quantity.BuccalPlate:     {unsafe: 1, inner: 1},
	quantity.LingualPlate:    {unsafe: 1, inner: -1},
	quantity.LingualUndercut: {unsafe: -1},
	quantity.RidgeTilt:       {},
	quantity.Clearance:       {unsafe: 1, view: Along},
	AnteriorLoop:             {unsafe: -1, view: Oblique},
}

// Unit returns the unit of the answer, "mm" or "deg". It panics for a quantity that nothing of ours has.
func (q Question) Unit() string {
	if q.Quantity == AnteriorLoop {
		return quantity.MM
	}
	return q.Quantity.Unit()
}

// at writes the depth as the tables do: "3", or nothing.
func (q Question) at() string {
	if q.At == 0 {
		return ""
	}
	return strconv.FormatFloat(q.At, 'f', -1, 64)
}

// String names the question in short: "ridge_width 3 mm".
func (q Question) String() string {
	if q.At == 0 {
		return string(q.Quantity)
	}
	return string(q.Quantity) + " " + q.at() + " mm"
}

// same reports whether two questions ask for one number.
func (q Question) same(o Question) bool { return q.Quantity == o.Quantity && q.At == o.At }

// Words returns the question as a reader is asked it, and how the line is to be laid. The inner side is
// palatal in the maxilla.
func (q Question) Words(jaw phantom.Kind) (ask, how string) {
	inner := "lingual"
	if jaw == phantom.Maxilla {
		inner = "palatal"
	}
	across := "At right angles to the axis of the ridge, "
	switch q.Quantity {
	case quantity.RidgeHeight:
		end, last := q.limit()
		return "How high is the ridge, from its crest to " + end + "?", "Along the axis of the ridge, from the outer edge of the crest to " + last
	case quantity.RidgeWidth:
		return fmt.Sprintf("How wide is the ridge %s mm below its crest?", q.at()), across + "from outer edge to outer edge."
	case quantity.BuccalPlate:
		return fmt.Sprintf("How thick is the buccal plate %s mm below the crest?", q.at()), across + "from the outer to the inner edge of the plate."
	case quantity.LingualPlate:
		return fmt.Sprintf("How thick is the %s plate %s mm below the crest?", inner, q.at()), across + "from the outer to the inner edge of the plate."
	case quantity.Clearance:
		return "How near does the drawn implant come to the neighbour's root?", "The least distance in this section, from the implant's edge to the outer edge of the root."
	case AnteriorLoop:
		return "How far does the canal run past the mental foramen toward the midline (anterior loop)?", "Level with the sheet, from the mesial border of the foramen, where the canal leaves the bone, to the mesial border of the loop."
	case quantity.LingualUndercut:
		return "How deep is the " + inner + " undercut?", "The greatest distance of the wall from the straight line that touches it above and below."
	}
	return "By how many degrees does the axis of the ridge lean?", "Against the vertical of the sheet; positive where the base lies buccal of the crest."
}

// limit is what a height ends at, in words, and where the line to it ends.
func (q Question) limit() (end, last string) {
	const leaves = "where the axis leaves bone."
	switch q.To {
	case "canal":
		return "the roof of the canal", "the level of the uppermost point of the canal's wall."
	case "sinus":
		return "the floor of the sinus", leaves
	case "nasal_floor":
		return "the floor of the nose", leaves
	case "border":
		return "the base of the jaw", leaves
	}
	return "what limits it first", "the level of the canal's roof, the floor of sinus or nose, or the base: whichever comes first."
}

// Sides names the four sides of a sheet as it is looked at, the patient's head up: left, right, top, bottom.
func (s Sheet) Sides() [4]string {
	left, right, top, bottom := "lingual", "buccal", "coronal", "apical"
	switch s.View {
	case Along:
		left, right = "distal", "mesial"
	case Oblique:
		left, right, top, bottom = "distal", "mesial", "coronal and buccal", "apical and lingual"
	}
	if !s.Upright() {
		top, bottom = bottom, top
		if s.View == Across {
			left = "palatal"
		}
	}
	return [4]string{left, right, top, bottom}
}

// Upright reports whether the sheet's v points to the patient's head. Where it does not, v grows downward as it is looked at.
func (s Sheet) Upright() bool { return s.Frame.V.Z >= 0 }

// Way is the way in which the sheet's v grows as it is looked at: "up" or "down".
func (s Sheet) Way() string {
	if s.Upright() {
		return "up"
	}
	return "down"
}

// OnAxis reports whether the answer is asked along or across the axis of the ridge, which [AxisWords] defines.
func (q Question) OnAxis() bool {
	return !askedAlong(q.Quantity) && q.Quantity != quantity.LingualUndercut
}

// AxisWords says what every sheet means by the axis of a ridge.
const AxisWords = "The axis of the ridge runs through the middles of its widths 1 to 8 mm below the crest; the crest is where it leaves the bone."
