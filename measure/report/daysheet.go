package report

import (
	"io"
	"math"
	"strconv"

	"ridgerule/measure"
)

// DaySheet writes the one-page sheet for the day of surgery: large letters, the sites that are
// accepted are ticked by hand, and blanks for what is only known then. It plans nothing: sizes are
// the virtual implants of the plan. An empty paper is A4. More than twelve sites are an error of
// the reader's eye, so the letters shrink to fit the page.
func DaySheet(w io.Writer, c Case, paper Paper) error {
	d, err := newPDF(c, paper)
	if err != nil {
		return err
	}
	d.AddPage()
	d.y += 7
	d.put(pdfMargin, d.y, 8.5, bold, black, start, c.Result.Case)
	d.put(d.width()-pdfMargin, d.y, 6, bold, black, end, string(c.Result.Jaw))
	d.y += 3
	for _, text := range []string{"Patient, side and jaw checked by", "Guide seated, windows checked by", "Plan compared with this sheet (plan " + short(c.Result.Plan.SHA256) + ") by"} {
		d.y += 9
		d.put(pdfMargin, d.y, 3.8, regular, black, start, text)
		d.stroke(pdfMargin+98, d.y+1, d.width()-pdfMargin, d.y+1, 0.25, black)
	}
	d.y += 5
	room := d.bottom() - d.y - 34
	row := math.Min(24, room/math.Max(1, float64(len(c.Result.Sites))))
	for i := range c.Result.Sites {
		d.daySite(&c.Result.Sites[i], row)
	}
	d.dayBlanks()
	return d.Output(w)
}

// daySite writes one site in a band of the given height, mm.
func (d *pdfDoc) daySite(s *measure.SiteResult, band float64) {
	scale := math.Min(1, band/22)
	d.stroke(pdfMargin, d.y, d.width()-pdfMargin, d.y, 0.4, black)
	line := func(n float64) float64 { return d.y + n*band/22 }
	d.put(pdfMargin, line(9), 9*scale, bold, black, start, s.ID)
	x := pdfMargin + 24
	d.put(x, line(7), 5*scale, bold, black, start, daySize(s))
	height := "no height"
	if r, ok := s.Lookup("ridge_height", math.NaN()); ok && r.Value != nil {
		height = "height " + rowReading(r) + " to the " + plainName(string(s.HeightTo))
	}
	d.put(x+52, line(7), 4.2*scale, regular, black, start, height)
	d.put(d.width()-pdfMargin, line(7), 5*scale, bold, black, end, loud(verdictOf(s.Verdict)))
	limit := limitOf(s, d.c.Result.Jaw)
	lines := d.wrap(limit, 3.8*scale, regular, d.room()-28)
	if len(lines) > 1 {
		lines[0] += " …" // the rest stands in the report
	}
	d.put(x, line(13), 3.8*scale, regular, black, start, lines[0])
	d.put(x, line(19.5), 3.4*scale, regular, soft, start, "depth stop")
	d.stroke(x+18, line(20), x+40, line(20), 0.2, black)
	d.put(x+44, line(19.5), 3.4*scale, regular, soft, start, "torque")
	d.stroke(x+57, line(20), x+79, line(20), 0.2, black)
	d.put(x+83, line(19.5), 3.4*scale, regular, soft, start, "placed as planned")
	d.stroke(x+113, line(20), d.width()-pdfMargin, line(20), 0.2, black)
	d.y += band
}

func daySize(s *measure.SiteResult) string {
	if s.Implant == nil {
		return "no implant"
	}
	return strconv.FormatFloat(s.Implant.Diameter, 'f', 1, 64) + " × " + strconv.FormatFloat(s.Implant.Length, 'f', 1, 64) + " mm"
}

func (d *pdfDoc) dayBlanks() {
	d.stroke(pdfMargin, d.y, d.width()-pdfMargin, d.y, 0.4, black)
	for _, text := range []string{"Changed from the plan, and why", "Graft, membrane, other", "Surgeon, date"} {
		d.y += 9
		d.put(pdfMargin, d.y, 3.8, regular, black, start, text)
		d.stroke(pdfMargin+66, d.y+1, d.width()-pdfMargin, d.y+1, 0.25, black)
	}
}
