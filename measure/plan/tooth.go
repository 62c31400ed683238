package plan

import "fmt"

// A tooth by its number, in words, and in the other notation.

// Tooth is a permanent tooth's designation.
//
// Source: ISO 3950:2016: quadrants 1 and 4 are the patient's right, 2 and 3 the left, 1 and 2 the upper
// jaw; numbers 1 to 8 count from the midline.
type Tooth struct{ Quadrant, Number int }

// ToothOf reads a two-digit designation; ok is false for anything else.
func ToothOf(designation string) (t Tooth, ok bool) {
	if len(designation) != 2 {
		return Tooth{}, false
	}
	t = Tooth{int(designation[0]) - '0', int(designation[1]) - '0'}
	return t, t.Quadrant >= 1 && t.Quadrant <= 4 && t.Number >= 1 && t.Number <= 8
}

func (t Tooth) String() string { return fmt.Sprintf("%d%d", t.Quadrant, t.Number) }

// Jaw returns the jaw that the number stands for.
func (t Tooth) Jaw() Jaw {
	if t.Quadrant <= 2 {
		return Maxilla
	}
	return Mandible
}

// Side returns the patient's side that the number stands for.
func (t Tooth) Side() Side {
	if t.Quadrant == 1 || t.Quadrant == 4 {
		return Right
	}
	return Left
}

// along returns the tooth's rank from the patient's right to the left: −8 … −1, 1 … 8; no unit.
func (t Tooth) along() int {
	if t.Side() == Right {
		return -t.Number
	}
	return t.Number
}

var toothNames = [9]string{1: "central incisor", "lateral incisor", "canine", "first premolar", "second premolar", "first molar", "second molar", "third molar"}

// Words returns the tooth in words on a side of the patient: "lower left first molar"; without the
// side where that is not known.
func (t Tooth) Words(side Side) string {
	jaw := "upper "
	if t.Jaw() == Mandible {
		jaw = "lower "
	}
	if side != "" {
		jaw += string(side) + " "
	}
	return jaw + toothNames[t.Number]
}

// mirrored returns the same tooth of the other side.
func (t Tooth) mirrored() Tooth {
	return Tooth{[5]int{1: 2, 2: 1, 3: 4, 4: 3}[t.Quadrant], t.Number}
}

// otherNotation returns the tooth that n, 1 to 32, designates where teeth are counted through from the
// upper right third molar (1) to the upper left one (16), and from the lower left one (17) to the lower
// right one (32).
//
// Source: the two notations side by side are common textbook matter; the table of pairs in the test was
// written out by hand.
func otherNotation(n int) (Tooth, bool) {
	switch {
	case n < 1 || n > 32:
		return Tooth{}, false
	case n <= 8:
		return Tooth{1, 9 - n}, true
	case n <= 16:
		return Tooth{2, n - 8}, true
	case n <= 24:
		return Tooth{3, 25 - n}, true
	}
	return Tooth{4, n - 24}, true
}

// inOtherNotation says which tooth the number is in the notation 1 to 32, or nothing: none of the
// numbers valid in both means the same tooth.
func inOtherNotation(number string) string {
	var n int
	if _, err := fmt.Sscanf(number, "%d", &n); err != nil || fmt.Sprint(n) != number {
		return ""
	}
	t, ok := otherNotation(n)
	if !ok {
		return ""
	}
	return fmt.Sprintf("%s in the 1–32 notation is %v, %s", number, t, t.Words(t.Side()))
}
