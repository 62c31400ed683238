package report

import (
	"fmt"
	"io"
	"math"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

// Letters of the day sheet, mm. They never shrink: what has no room goes on another page.
const (
	dayID    = 9.0
	dayLarge = 4.6
	dayText  = 3.8
	dayNote  = 3.2
)

// dayIndent is where the text beside a site's number begins, mm from the margin.
const dayIndent = 28.0

// daySketch is the room of the arch on the day sheet, mm of paper.
var daySketch = spot{86, 66}

// DaySheet writes the sheet for the day of surgery: large letters, a sketch of the arch, the sites that are
// accepted are ticked by hand, and blanks for what is only known then. It plans nothing: sizes are
// the virtual implants of the plan. An empty paper is A4. What limits a site and every caution stand there
// whole, as on the report's first page; sites that have no room on the first page go on the next.
func (v *View) DaySheet(w io.Writer, paper Paper) error {
	d, err := v.newPDF(paper)
	if err != nil {
		return err
	}
	d.newPage()
	d.dayHead()
	d.cautions(v.page.Cautions, false, dayText)
	d.y += 2
	for i := range v.page.Sites {
		d.daySite(&v.page.Sites[i])
	}
	d.rule(0.4, black)
	d.cautions(v.page.Cautions, true, dayNote)
	d.dayBlanks("Changed from the plan, and why", "Graft, membrane, other", "Surgeon, date")
	return d.Output(w)
}

// dayHead writes the case and what is checked first, and beside them the sketch of the arch.
func (d *pdfDoc) dayHead() {
	sketch, under := archSheet(d.c.Result, daySketch, dayNote), d.y
	if sketch != nil {
		at := spot{d.width() - pdfMargin - sketch.Width, d.y}
		sketch.draw(&pdfPen{to: d.Fpdf, at: at, by: d.pictures})
		d.wide, under = at.X-d.left-pdfGap, d.y+sketch.Height
	}
	d.say(d.c.Result.Case, 8.5, bold, black)
	d.say(string(d.c.Result.Jaw), 6, bold, black)
	if when := d.view.page.Date; when != "" {
		d.say("measured "+when, dayText, regular, black)
	}
	d.dayBlanks("Patient, side and jaw checked by", "Guide seated, windows checked by", "Plan compared with this sheet (plan "+short(d.c.Result.Plan.SHA256)+") by")
	d.y = math.Max(d.y, under)
	d.into(1)
	d.y += 3
}

// daySite writes one site, whole on one page where a page can hold it.
func (d *pdfDoc) daySite(s *siteView) {
	id := wrapped(s.ID, dayID, bold, d.wide)
	if len(id) == 1 && textWidth(s.ID, dayID, bold) <= dayIndent-3 {
		id = nil // beside the text
	}
	text := dayTexts(s)
	d.need(22 + 10*float64(len(id)) + d.tallLines(text, dayText, dayIndent))
	d.rule(0.4, black)
	if id == nil {
		d.put(d.left, d.y+9, dayID, bold, black, start, s.ID)
	}
	for _, line := range id {
		d.y += 10
		d.put(d.left, d.y, dayID, bold, black, start, line)
	}
	d.y += 6
	d.put(d.left+dayIndent, d.y, dayLarge, bold, black, start, daySize(s.result.Implant))
	d.put(d.left+d.wide, d.y, dayLarge, bold, black, end, loudly(s.Verdicts))
	d.y += 1.2
	d.lines(text, dayText, dayIndent)
	d.y += 3.5
	for _, blank := range []struct {
		text     string
		from, to float64 // mm from the indent
	}{{"depth stop", 0, 40}, {"torque", 44, 79}, {"placed as planned", 83, d.wide - dayIndent}} {
		x := d.left + dayIndent
		d.put(x+blank.from, d.y, dayNote, regular, soft, start, blank.text)
		d.stroke(x+blank.from+textWidth(blank.text, dayNote, regular)+2, d.y+0.5, x+blank.to, d.y+0.5, 0.2, black)
	}
	d.y += 3.5
}

// dayTexts are the lines of a site: where it is, its height, where the platform stands, the nearest nerve or cavity, and
// what limits it.
func dayTexts(s *siteView) []siteLine {
	text := []siteLine{{Text: s.Place + "; side of the patient: " + s.Side}, {Text: "no height"}}
	if h := s.Height; h.Reading != "" {
		text[1] = siteLine{Text: h.Name + " " + h.String(), Strong: !h.Open}
	}
	if s.result.Implant != nil {
		text = append(text, siteLine{Text: drillWords(s.result)}, siteLine{Text: nearestWords(s.result)})
	}
	return append(text, s.Lines...)
}

// drillWords say what a drill's depth counts from: the platform below the crest, and from there to the apex.
func drillWords(s *measure.SiteResult) string {
	row, known := s.Lookup(quantity.PlatformDepth, math.NaN())
	if !known || row.Value == nil {
		return fmt.Sprintf("platform: its depth below the crest was not measured; drill reference: the platform, %.1f mm to the apex", s.Implant.Length)
	}
	return fmt.Sprintf("platform %s below the crest as scanned (%s); drill reference: that crest, %s mm to the apex (platform depth + length)",
		rowReading(row), row.To, rounded(*row.Value+s.Implant.Length, 1))
}

// nearestWords say which nerve or cavity is nearest to the implant and how far.
func nearestWords(s *measure.SiteResult) string {
	var near *measure.Row
	for i, row := range s.Rows {
		if row.Quantity == quantity.Clearance && row.Value != nil && nerveOrCavity[string(row.Kind)] && (near == nil || *row.Value < *near.Value) {
			near = &s.Rows[i]
		}
	}
	if near == nil {
		return "nearest nerve or cavity: none was measured"
	}
	return "nearest nerve or cavity: " + near.To + ", " + rowReading(*near)
}

// nerveOrCavity are the kinds of structures that an implant must not reach whatever its plan.
var nerveOrCavity = map[string]bool{"canal": true, "mental_foramen": true, "anterior_loop": true, "incisive_canal": true, "sinus": true, "nasal_floor": true}

func daySize(b *measure.Implant) string {
	if b == nil {
		return "no implant"
	}
	return rounded(b.Diameter, 1) + " × " + rounded(b.Length, 1) + " mm"
}

// dayBlanks writes lines for a pen, each behind its words or, where these are long, under them.
func (d *pdfDoc) dayBlanks(lines ...string) {
	for _, text := range lines {
		words := wrapped(text, dayText, regular, d.wide)
		from := d.left + textWidth(words[len(words)-1], dayText, regular) + 3
		d.need(9 + 5*float64(len(words)))
		d.y += 4
		for _, line := range words {
			d.y += 5
			d.put(d.left, d.y, dayText, regular, black, start, line)
		}
		if d.left+d.wide-from < 35 {
			from, d.y = d.left, d.y+8
		}
		d.stroke(from, d.y+1, d.left+d.wide, d.y+1, 0.25, black)
	}
}
