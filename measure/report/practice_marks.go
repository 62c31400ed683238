package report

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"

	"ridgerule/measure/practice"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/repeat"
)

// MarkedItem is one item of a page of marks: the item, and the line on it that has the true length (sheet, mm).
type MarkedItem struct {
	PracticeItem
	True [2]reformat.UV
}

// marksScale is how much larger than life a marked section is drawn.
const marksScale = 2.5

type markView struct {
	Name, Place, Ask  string
	Drawing           template.HTML
	Facts             []fact
	Class, Word       string
	Unsafe, Note, Why string
	Likely            string // how sure the note is of the cause
}

// MarksPage writes what a reader's marks say, and each section with the reader's own line and the true one. items are
// looked up by name; an item without a picture is told in words alone.
func MarksPage(w io.Writer, s *practice.Summary, items map[string]MarkedItem) error {
	head, err := newPracticePage("Marks of " + s.Reader)
	if err != nil {
		return err
	}
	var all []PracticeItem
	for _, it := range items {
		all = append(all, it.PracticeItem)
	}
	grey := practiceWindow(all)
	page := struct {
		practicePage
		Reader, Answer string
		Unsafe         []string
		Kinds          []practice.Finding
		Figures        []fact
		Curve          template.HTML
		Marks          []markView
		Rules          []string
	}{practicePage: head, Reader: s.Reader, Answer: marksAnswer(s), Kinds: s.Kinds, Figures: marksFigures(s), Rules: s.Rules.Words()}
	for _, k := range s.Unsafe {
		page.Unsafe = append(page.Unsafe, k.Item+": "+k.Note)
	}
	if len(s.Curve) > 0 {
		text, err := curveSheet(s.Curve, s.Rules.Least).SVG()
		if err != nil {
			return err
		}
		page.Curve = template.HTML(text)
	}
	for i := range s.Marks {
		one, err := viewOfMark(&s.Marks[i], items, grey)
		if err != nil {
			return err
		}
		page.Marks = append(page.Marks, one)
	}
	return practicePages().ExecuteTemplate(w, "marks", page)
}

// marksAnswer says the marks in one line.
func marksAnswer(s *practice.Summary) string {
	return fmt.Sprintf("%d of %d answered: %d within, %d cannot tell, %d outside, %s. %s", s.Answered, len(s.Marks),
		s.Count[practice.Within], s.Count[practice.CannotTell], s.Count[practice.Outside], blunderCount(s.Count[practice.Blundered]), unsafeCount(len(s.Unsafe)))
}

func blunderCount(n int) string {
	if n == 1 {
		return "1 blunder"
	}
	return fmt.Sprintf("%d blunders", n)
}

func unsafeCount(n int) string {
	switch n {
	case 0:
		return "None on the unsafe side."
	case 1:
		return "One on the unsafe side."
	}
	return fmt.Sprintf("%d on the unsafe side.", n)
}

// marksFigures are the figures of the set, each with its interval or the reason why there is none.
func marksFigures(s *practice.Summary) []fact {
	out := []fact{{"Error at most T", shareWords(s.Share)}}
	for g, name := range []string{"", "unsure", "fairly sure", "sure"} {
		if g > 0 && s.Certain[g].Of > 0 {
			out = append(out, fact{"The same where you were " + name, shareWords(s.Certain[g])})
		}
	}
	for _, x := range []practice.Spread{s.Lengths, s.Angles} {
		if x.Readings > 0 {
			out = append(out, spreadFacts(x, s.Rules)...)
		}
	}
	criterion := string(s.Criterion)
	if s.Criterion == practice.TooFew {
		criterion += fmt.Sprintf(" (%d lengths without blunders, of %d)", s.Lengths.Readings, s.Rules.CurveFrom)
	}
	return append(out, fact{"Criterion of a calibration", criterion})
}

// spreadFacts tells bias, spread and repeats of one unit.
func spreadFacts(x practice.Spread, r practice.Rules) []fact {
	name := map[string]string{"mm": "lengths", "deg": "angles"}[x.Unit]
	var out []fact
	if p := x.Pair; p == nil {
		out = append(out, fact{"Bias, " + name, fmt.Sprintf("too few to tell (%d without blunders)", x.Readings)})
	} else {
		out = append(out,
			fact{"Bias, " + name, estimateWords(p.Bias, x.Unit, true) + fmt.Sprintf(", of %d readings", x.Readings)},
			fact{"Spread (SD), " + name, estimateWords(p.SD, x.Unit, false)},
			fact{"Limits of agreement, " + name, fmt.Sprintf("%s to %s", signedWords(float64(p.LowerLimit.Value), x.Unit), signedWords(float64(p.UpperLimit.Value), x.Unit))})
	}
	switch {
	case x.Dahlberg != nil:
		out = append(out, fact{"Repeatability (Dahlberg), " + name, estimateWords(x.Dahlberg.Dahlberg, x.Unit, false) + fmt.Sprintf(", of %d repeats", len(x.Repeats))})
	case len(x.Repeats) > 0:
		var list []string
		for _, t := range x.Repeats {
			list = append(list, t.Site+" "+signedWords(t.Second-t.First, x.Unit))
		}
		out = append(out, fact{"Read twice, " + name, fmt.Sprintf("too few to tell a repeatability (%d of %d): %s", len(x.Repeats), r.Pairs, strings.Join(list, "; "))})
	}
	return out
}

func shareWords(s practice.Share) string {
	if s.Of == 0 {
		return "nothing answered"
	}
	return fmt.Sprintf("%d of %d (95 %%: %.0f to %.0f %%)", s.Hits, s.Of, 100*s.Low, 100*s.High)
}

func estimateWords(e repeat.Estimate, unit string, sign bool) string {
	word := func(x float64) string {
		if sign {
			return signedWords(x, unit)
		}
		return strings.TrimSpace(rounded(x, 2) + " " + unitWord(unit))
	}
	if !e.Value.Known() {
		return "none: " + e.Reason
	}
	text := word(float64(e.Value))
	if e.Low.Known() && e.High.Known() {
		text += fmt.Sprintf(" (95 %%: %s to %s)", word(float64(e.Low)), word(float64(e.High)))
	}
	return text
}

// signedWords writes an error with its sign and unit: "+0.42 mm".
func signedWords(x float64, unit string) string {
	return strings.TrimSpace(signed(x, 2) + " " + unitWord(unit))
}

// viewOfMark puts one mark into words and draws it.
func viewOfMark(k *practice.Mark, items map[string]MarkedItem, grey window) (markView, error) {
	it, known := items[k.Item]
	v := markView{Name: k.Item, Class: strings.ReplaceAll(string(k.Verdict), " ", "-"), Word: string(k.Verdict), Note: k.Note, Why: k.Why, Likely: "Perhaps"}
	if k.Frame != nil {
		v.Likely = "Probably"
	}
	if k.Verdict == "" {
		v.Class, v.Word, v.Note = "none", k.Note, ""
	}
	if k.Unsafe {
		v.Unsafe, v.Note, _ = strings.Cut(k.Note, "; ")
	}
	v.Ask = quantity.InWords(k.Question.Quantity)
	if known {
		v.Ask, _ = it.Sheet.Question.Words(it.Sheet.Jaw)
		v.Place = fmt.Sprintf("tooth %d, %v · ", it.Sheet.Tooth, it.Sheet.Jaw)
	}
	v.Place += fmt.Sprintf("%s · %s · sitting %d", k.Kind, k.Level, k.Sitting)
	v.Facts = markFacts(k)
	if !known {
		return v, nil
	}
	drawing, err := practiceSheet(it.Sheet, it.Picture, grey, marksScale, func(p *practiceView) {
		p.drawLine(it.True, 0.35, 1.2, 0.8)
		if k.Line != nil {
			p.drawLine(*k.Line, 0.5)
		}
	})
	if err != nil {
		return v, err
	}
	text, err := drawing.SVG()
	v.Drawing = template.HTML(text)
	return v, err
}

func markFacts(k *practice.Mark) []fact {
	unit := unitWord(k.Unit)
	number := func(x float64) string { return strings.TrimSpace(rounded(x, 2) + " " + unit) }
	if k.Value == nil {
		return []fact{{"True", number(k.Truth)}}
	}
	out := []fact{{"Yours", number(*k.Value)}, {"True", number(k.Truth)}, {"Error", signedWords(k.Error, k.Unit)}, {"Tolerance T", number(k.Tolerance)}}
	if k.Frame != nil {
		out = append(out, fact{"of it, your line", signedWords(*k.Frame, k.Unit)}, fact{"of it, the edges", signedWords(*k.Edge, k.Unit)})
	}
	if k.Lean != nil && math.Abs(*k.Lean) >= 1 {
		out = append(out, fact{"Your line leans", rounded(math.Abs(*k.Lean), 0) + "°"})
	}
	if k.Certainty > 0 {
		out = append(out, fact{"You were", []string{"", "unsure", "fairly sure", "sure"}[k.Certainty]})
	}
	return out
}

// drawLine draws a measured line with strokes across its ends, as far as it lies on the picture.
func (v *practiceView) drawLine(l [2]reformat.UV, width float64, dash ...float64) {
	a, b := v.spot(l[0]), v.spot(l[1])
	low, high := v.spot(reformat.UV{V: v.item.Height}), v.spot(reformat.UV{U: v.item.Width})
	if v.flip {
		low, high = v.spot(reformat.UV{}), v.spot(reformat.UV{U: v.item.Width, V: v.item.Height})
	}
	long := apart(a, b)
	if long == 0 || math.IsNaN(long) {
		return
	}
	n := spot{-(b.Y - a.Y) / long * 1.3, (b.X - a.X) / long * 1.3}
	for i, points := range [][]spot{{a, b}, {{a.X - n.X, a.Y - n.Y}, {a.X + n.X, a.Y + n.Y}}, {{b.X - n.X, b.Y - n.Y}, {b.X + n.X, b.Y + n.Y}}} {
		for _, piece := range clip(points, low, high) {
			if i > 0 {
				v.onPicture(piece, false, width)
				continue
			}
			v.onPicture(piece, false, width, dash...)
		}
	}
}

// curveSheet draws the running mean error of lengths over the readings, against the least tolerance (mm).
func curveSheet(curve []float64, tolerance float64) *sheet {
	const wide, high, left, foot = 90.0, 34.0, 12.0, 9.0
	most := math.Max(2*tolerance, ceil(slices.Max(curve), 1))
	s := &sheet{Title: "Mean error", About: "Running mean of the size of the error, of each ten lengths in the order read.", Width: left + wide + 6, Height: high + foot + 4}
	at := func(i int, mm float64) spot {
		return spot{left + wide*float64(i)/math.Max(1, float64(len(curve)-1)), 3 + high*(1-mm/most)}
	}
	s.rule(spot{left, 3}, spot{left, 3 + high}, 0.2, soft)
	s.rule(spot{left, 3 + high}, spot{left + wide, 3 + high}, 0.2, soft)
	s.line(stroke{Points: []spot{{left, at(0, tolerance).Y}, {left + wide, at(0, tolerance).Y}}, Width: 0.2, Dash: []float64{1, 1}, Ink: soft})
	for _, mm := range []float64{0, tolerance, most} {
		s.write(label{At: spot{left - 1.5, at(0, mm).Y + 0.8}, Text: rounded(mm, 1), Size: tiny, Anchor: end, Ink: soft})
	}
	points := make([]spot, len(curve))
	for i, mm := range curve {
		points[i] = at(i, mm)
	}
	s.line(stroke{Points: points, Width: 0.5, Ink: black})
	s.write(label{At: spot{left, high + foot}, Text: "mean size of the error, mm, of each ten lengths in the order read; dashed: " + rounded(tolerance, 1) + " mm", Size: tiny, Ink: soft})
	return s
}
