package report

import (
	"io"
	"strconv"

	"ridgerule/measure"
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

// DaySheet writes the sheet for the day of surgery: large letters, the sites that are
// accepted are ticked by hand, and blanks for what is only known then. It plans nothing: sizes are
// the virtual implants of the plan. An empty paper is A4. What limits a site stands there whole, as
// on the report's first page; sites that have no room on the first page go on the next.
func DaySheet(w io.Writer, c Case, paper Paper) error {
	d, err := newPDF(c, paper)
	if err != nil {
		return err
	}
	d.AddPage()
	d.y += 7
	d.put(pdfMargin, d.y, 8.5, bold, black, start, c.Result.Case)
	d.put(d.width()-pdfMargin, d.y, 6, bold, black, end, string(c.Result.Jaw))
	d.y += 2
	d.dayBlanks(98, "Patient, side and jaw checked by", "Guide seated, windows checked by", "Plan compared with this sheet (plan "+short(c.Result.Plan.SHA256)+") by")
	d.y += 3
	cautions := cautionsOf(c.Result)
	d.cautions(cautions, false, dayText)
	d.y += 2
	for i := range c.Result.Sites {
		d.daySite(&c.Result.Sites[i])
	}
	d.stroke(pdfMargin, d.y, d.width()-pdfMargin, d.y, 0.4, black)
	d.cautions(cautions, true, dayNote)
	d.dayBlanks(66, "Changed from the plan, and why", "Graft, membrane, other", "Surgeon, date")
	return d.Output(w)
}

// daySite writes one site, whole on one page where a page can hold it.
func (d *pdfDoc) daySite(s *measure.SiteResult) {
	jaw := d.c.Result.Jaw
	lines, x := linesOf(s, jaw), pdfMargin+dayIndent
	room := d.room() - dayIndent
	tall := 19.0 // mm, without the lines
	wide := textWidth(s.ID, dayID, bold) > dayIndent-2
	if wide {
		tall += 10
	}
	d.need(tall + d.linesTall(lines, dayText, room))
	d.stroke(pdfMargin, d.y, d.width()-pdfMargin, d.y, 0.4, black)
	d.put(pdfMargin, d.y+9, dayID, bold, black, start, s.ID)
	if wide {
		d.y += 10
	}
	d.y += 6
	d.put(x, d.y, dayLarge, bold, black, start, daySize(s))
	d.put(d.width()-pdfMargin, d.y, dayLarge, bold, black, end, loudly(verdictsOf(s)))
	d.y += 5.5
	d.put(x, d.y, dayText, regular, black, start, placeWords(s))
	d.dayHeight(heightOf(s, jaw), x, room-textWidth(placeWords(s), dayText, regular)-4)
	d.lines(lines, x, dayText, room)
	d.y += 4
	for _, blank := range []struct {
		text     string
		from, to float64 // mm from x
	}{{"depth stop", 0, 40}, {"torque", 44, 79}, {"placed as planned", 83, room}} {
		d.put(x+blank.from, d.y, dayNote, regular, soft, start, blank.text)
		d.stroke(x+blank.from+textWidth(blank.text, dayNote, regular)+2, d.y+0.5, x+blank.to, d.y+0.5, 0.2, black)
	}
	d.y += 3.5
}

// dayHeight writes the height, bold unless it is open: at the right edge of this line where free mm are
// enough, else below it from x.
func (d *pdfDoc) dayHeight(h heightView, x, free float64) {
	cut, text := bold, h.Name+" "+h.String()
	switch {
	case h.Reading == "":
		cut, text = regular, "no height"
	case h.Open:
		cut = regular
	}
	if textWidth(text, dayText, cut) <= free {
		d.put(d.width()-pdfMargin, d.y, dayText, cut, black, end, text)
		return
	}
	for _, line := range wrapped(text, dayText, cut, d.width()-pdfMargin-x) {
		d.y += dayText * 1.3
		d.put(x, d.y, dayText, cut, black, start, line)
	}
}

func daySize(s *measure.SiteResult) string {
	if s.Implant == nil {
		return "no implant"
	}
	return strconv.FormatFloat(s.Implant.Diameter, 'f', 1, 64) + " × " + strconv.FormatFloat(s.Implant.Length, 'f', 1, 64) + " mm"
}

// dayBlanks writes lines for a pen, which begin indent mm from the margin.
func (d *pdfDoc) dayBlanks(indent float64, lines ...string) {
	d.need(9 * float64(len(lines)))
	for _, text := range lines {
		d.y += 9
		d.put(pdfMargin, d.y, dayText, regular, black, start, text)
		d.stroke(pdfMargin+indent, d.y+1, d.width()-pdfMargin, d.y+1, 0.25, black)
	}
}
