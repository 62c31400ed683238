package desk

import (
	"strconv"
	"strings"

	"ridgerule/measure/practice"
)

// Answers held against the truth, in words.

// marks holds answers against the truth: all, or that of one item.
func (s *sitting) marks(all bool, of string) ([]markView, error) {
	var list []practice.Reading
	for _, a := range s.Session.Readings() {
		if all || a.Item == of {
			list = append(list, a)
		}
	}
	m, err := practice.MarkReadings([]*practice.Key{s.Key}, [][]practice.Reading{list}, s.Session.Reader, s.Rules)
	if err != nil {
		return nil, err
	}
	out := []markView{}
	for i := range m.List {
		out = append(out, s.mark(&m.List[i]))
	}
	return out, nil
}

// mark puts a mark into words.
func (s *sitting) mark(k *practice.Mark) markView {
	v := markView{Item: k.Item, Verdict: string(k.Verdict), Unsafe: k.Unsafe, Notes: []string{}, Why: k.Why, Truth: valueWords(k.Truth, k.Unit)}
	if k.Value != nil {
		v.Yours, v.Error = valueWords(*k.Value, k.Unit), signed(k.Error, k.Unit)
	}
	if k.Frame != nil && k.Edge != nil {
		v.Parts = signed(*k.Frame, k.Unit) + " of it comes from where your line lies, " + signed(*k.Edge, k.Unit) + " from where its ends were put on it"
	}
	if k.Note != "" {
		v.Notes = strings.Split(k.Note, "; ")
	}
	sheet, line, ok := s.Key.Find(k.Item)
	if !ok {
		return v
	}
	v.Ask, _ = sheet.Question.Words(sheet.Jaw)
	v.Sides = sheet.Sides()
	v.True = [2]point{onSheet(line[0]), onSheet(line[1])}
	if k.Line != nil {
		v.Line = [2]point{onSheet(k.Line[0]), onSheet(k.Line[1])}
	}
	return v
}

// units in words.
var unitWords = map[string]string{"mm": " mm", "deg": "°"}

func valueWords(x float64, unit string) string {
	return minus(strconv.FormatFloat(x, 'f', 1, 64)) + unitWords[unit]
}

func signed(x float64, unit string) string {
	if digits(x, 1) > 0 {
		return "+" + valueWords(x, unit)
	}
	return valueWords(x, unit)
}

// minus writes a number with a minus sign and never as minus nothing.
func minus(text string) string {
	if text == "-0.0" {
		return "0.0"
	}
	if text[0] == '-' {
		return "−" + text[1:]
	}
	return text
}
