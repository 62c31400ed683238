package report

import (
	"strings"

	"ridgerule/measure"
)

// orNo returns text, or "none" for nothing: an empty cell could be a slip.
func orNo(text string) string {
	if text == "" {
		return "none"
	}
	return text
}

// loud writes a verdict so that it stands out without colour.
func loud(v verdictView) string {
	if v.Class == "not-held" {
		return strings.ToUpper(v.Word)
	}
	return v.Word
}

// loudly writes every verdict that applies.
func loudly(all []verdictView) string { return strings.Join(each(all, loud), " · ") }

func (d *pdfDoc) opening(v pageView) {
	d.AddPage()
	d.say("Ridge measurements, "+v.Jaw, 3.4, regular, soft, d.room())
	d.say(v.Case, 9, bold, black, d.room())
	d.y += 2
	d.say(v.Answer, 4.4, regular, black, d.room())
	d.y += 2
	d.cautions(v.Cautions, false, 3)
	d.sites(v)
	d.y += 3
	for _, text := range []string{v.Words.Short, v.Words.Pass, v.Words.Side} {
		d.say(text, 3, regular, black, d.room())
	}
	d.cautions(v.Cautions, true, 2.6)
	d.blanks("To be filled by the reviewer", []string{"Patient, side and jaw checked against the scan", "Arch, crest points and marked structures checked", "Sites accepted, sites refused and why", "Name, licence, date, signature"})
}

// cautions writes the notes among the cautions, or all others, in letters of this size (mm).
func (d *pdfDoc) cautions(all []cautionView, notes bool, size float64) {
	for _, c := range all {
		cut, colour := regular, black
		if c.Grave {
			cut = bold
		}
		if c.Note {
			colour = soft
		}
		if c.Note == notes {
			d.say(c.Text, size, cut, colour, d.room())
		}
	}
}

// widthColumns is how many depths the first page has room for.
const widthColumns = 5

// sites writes the first page's table: a line of numbers a site, and under it what limits it.
func (d *pdfDoc) sites(v pageView) {
	widths := min(len(v.Depths), widthColumns)
	about := "Under each site what limits it: overlaps, structures nearer than twice their margin, what was not assessed, bone beside the implant. Height and widths in mm, ± expanded uncertainty U (k = 2); widths by depth below the crest in mm"
	if widths < len(v.Depths) {
		about += ", the deeper ones on the sites' pages"
	}
	d.say(about+".", 2.8, regular, soft, d.room())
	d.y += 1
	header, shares := []string{"Site", "Verdicts", "Height"}, []float64{0.16, 0.14, 0.17}
	for _, depth := range v.Depths[:widths] {
		header, shares = append(header, "Width at "+depth), append(shares, 0.53/widthColumns)
	}
	head := func() {
		d.cells(shares, plainCells(header, regular), 2.75, soft)
		d.stroke(pdfMargin, d.y, d.width()-pdfMargin, d.y, 0.5, black)
	}
	d.need(30)
	head()
	for _, s := range v.Sites {
		row := siteCells(s, widths)
		if d.y+d.tall(shares, row, 2.9)+d.linesTall(s.Lines, 2.9, d.room()-4) > d.bottom() {
			d.AddPage()
			head()
		}
		d.cells(shares, row, 2.9, black)
		d.lines(s.Lines, pdfMargin+4, 2.9, d.room()-4)
		d.stroke(pdfMargin, d.y, d.width()-pdfMargin, d.y, 0.15, black)
	}
}

// siteCells returns a site's numbers for the first page. A height is bold unless it is open.
func siteCells(s siteView, widths int) []cellView {
	height := cellView{orNo(s.Height.String()), bold}
	if s.Height.Open || s.Height.Reading == "" {
		height.Cut = regular
	}
	row := []cellView{{s.ID + " " + s.Place, bold}, {loudly(s.Verdicts), regular}, height}
	for _, w := range s.Widths[:widths] {
		row = append(row, cellView{orNo(w), regular})
	}
	return row
}

// lines writes what limits a site, in width mm from x, and moves below it; what is wrapped is indented.
func (d *pdfDoc) lines(lines []siteLine, x, size, width float64) {
	for _, l := range lines {
		for i, text := range wrapped(l.Text, size, cutOf(l), width-size) {
			d.need(size * 1.3)
			d.y += size * 1.3
			d.put(x+min(float64(i), 1)*size, d.y, size, cutOf(l), black, start, text)
		}
	}
	d.y += size * 0.7
}

// linesTall returns how much room lines take, mm.
func (d *pdfDoc) linesTall(lines []siteLine, size, width float64) float64 {
	n := 0
	for _, l := range lines {
		n += len(wrapped(l.Text, size, cutOf(l), width-size))
	}
	return float64(n)*size*1.3 + size*0.7
}

func cutOf(l siteLine) weight {
	if l.Verdict == measure.NotHeld {
		return bold
	}
	return regular
}

// blanks writes lines for a pen.
func (d *pdfDoc) blanks(title string, lines []string) {
	d.title(title)
	for _, text := range lines {
		d.need(10)
		d.y += 8.5
		d.put(pdfMargin, d.y, 3, regular, soft, start, text)
		d.stroke(pdfMargin+74, d.y+0.8, d.width()-pdfMargin, d.y+0.8, 0.2, black)
	}
}

func (d *pdfDoc) site(v siteView, s *measure.SiteResult, w window) {
	d.AddPage()
	d.y += 8
	d.put(pdfMargin, d.y, 10, bold, black, start, v.ID)
	x := pdfMargin + textWidth(v.ID, 10, bold) + 5
	if x+textWidth(v.Place, 4.6, regular) > d.width()-pdfMargin {
		x, d.y = pdfMargin, d.y+6
	}
	d.put(x, d.y, 4.6, regular, black, start, v.Place)
	d.y += 1.5
	d.say(loudly(v.Verdicts), 4.2, bold, black, d.room())
	d.lines(v.Lines, pdfMargin, 3.2, d.room())
	d.cautions(v.Cautions, false, 3)
	d.cautions(v.Cautions, true, 2.6)
	d.y += 1
	if drawing := d.sectionOf(s, w); drawing != nil {
		d.need(drawing.Height)
		d.place(drawing, pdfMargin, d.y)
		if profile := profileSheet(s); profile != nil && drawing.Width+profile.Width < d.room() {
			d.place(profile, d.width()-pdfMargin-profile.Width, d.y+8)
		}
		d.y += drawing.Height
	}
	if v.Err != "" {
		d.say("The bone of this site was not measured. "+v.Note, 3.2, regular, black, d.room())
		d.distances(v)
		return
	}
	d.siteTables(v)
}

// distances writes what was held against a margin.
func (d *pdfDoc) distances(v siteView) {
	if len(v.Findings) > 0 {
		d.title("Distances held against their margins")
		d.table([]float64{0.34, 0.19, 0.12, 0.15, 0.2}, []string{"Distance", "Value ± U", "Margin, mm", "Verdict", "Note"}, findingRows(v.Findings), 2.9)
	}
	if len(v.Far) > 0 {
		d.say("Held, and farther than 10 mm: "+strings.Join(v.Far, "; ")+".", 2.6, regular, soft, d.room())
	}
}

func (d *pdfDoc) siteTables(v siteView) {
	d.title("By depth below the crest, mm ± U")
	var rows [][]string
	for _, r := range v.Table {
		rows = append(rows, []string{r.Depth, orNo(r.Width), orNo(r.Buccal), orNo(r.Lingual)})
	}
	d.table([]float64{0.16, 0.28, 0.28, 0.28}, []string{"Depth", "Ridge width", "Buccal plate", quantity("lingual_plate", d.c.Result.Jaw)}, rows, 2.9)
	for _, note := range v.DepthNotes {
		d.say(note, 2.6, regular, soft, d.room())
	}
	d.distances(v)
	if len(v.Sizes) > 0 {
		d.title("Sizes tried: the best place found for each, not a choice")
		rows = nil
		for _, r := range v.Sizes {
			rows = append(rows, []string{r.Size, orNo(r.Reserve), loud(r.Verdict), r.Limit})
		}
		d.table([]float64{0.22, 0.22, 0.18, 0.38}, []string{"Diameter × length, mm", "Reserve, mm ± U", "Verdict", "What limits it"}, rows, 2.9)
		if v.SizesNote != "" {
			d.say("Of every size: "+v.SizesNote+".", 2.6, regular, soft, d.room())
		}
	}
	d.title("This site")
	rows = [][]string{{"Tooth position (ISO 3950)", v.Name}, {"Side of the patient", v.Side}, {"On the arch", v.Arc + " mm"}, {"Axis", v.Axis}, {"Virtual implant", orNo(v.Implant)}}
	for _, f := range v.Facts {
		reading := orNo(f.Reading)
		if f.At != "" {
			reading += " at " + f.At + " mm"
		}
		rows = append(rows, []string{f.Name, strings.TrimSuffix(reading+"; "+f.Note, "; ")})
	}
	d.table([]float64{0.36, 0.64}, []string{"", ""}, rows, 2.8)
	if len(v.Budgets) > 0 {
		d.title("Where the uncertainty comes from")
		rows = nil
		for _, b := range v.Budgets {
			rows = append(rows, []string{b.Name, b.U, b.Shares})
		}
		d.table([]float64{0.3, 0.12, 0.58}, []string{"Number", "U", "Shares of u, largest first"}, rows, 2.4)
	}
}

func findingRows(findings []rowView) [][]string {
	var rows [][]string
	for _, f := range findings {
		name := f.Name
		if f.At != "" {
			name += " at " + f.At + " mm"
		}
		rows = append(rows, []string{name, orNo(f.Reading), f.Margin, loud(f.Verdict), f.Note})
	}
	return rows
}

func (d *pdfDoc) archPage(v pageView, w window) {
	d.AddPage()
	d.title("The arch")
	if s := archSheet(d.c.Result); s != nil {
		d.place(s, pdfMargin, d.y)
		d.y += s.Height + 2
	}
	if p := d.c.Panoramic; p != nil {
		s := panoramicSheet(d.c.Result, *p, w)
		d.need(s.Height)
		d.place(s, pdfMargin, d.y)
		d.y += s.Height
	}
	if len(v.Pairs.Rows) > 0 {
		d.title("Every pair of implants: angle above the diagonal, distance of platforms in mm below")
		share := 1 / float64(len(v.Pairs.IDs)+1)
		shares, header := []float64{share}, []string{"Site"}
		for _, id := range v.Pairs.IDs {
			shares, header = append(shares, share), append(header, id)
		}
		var rows [][]string
		for _, r := range v.Pairs.Rows {
			rows = append(rows, append([]string{r.ID}, r.Cells...))
		}
		d.table(shares, header, rows, 2.7)
	}
	if len(v.ArchRows) > 0 {
		d.title("Between sites, and over the arch")
		var rows [][]string
		for _, r := range v.ArchRows {
			rows = append(rows, []string{r.Sites, r.Name, orNo(r.Reading), r.Margin, loud(r.Verdict), r.Note})
		}
		d.table([]float64{0.12, 0.28, 0.17, 0.11, 0.15, 0.17}, []string{"Sites", "Quantity", "Value ± U", "Margin, mm", "Verdict", "Note"}, rows, 2.7)
	}
}

func (d *pdfDoc) basis(v pageView) {
	d.AddPage()
	d.title("What this rests on")
	facts := func(list []fact) {
		var rows [][]string
		for _, f := range list {
			rows = append(rows, []string{f.Name, f.Value})
		}
		d.table([]float64{0.26, 0.74}, []string{"", ""}, rows, 2.7)
	}
	facts(v.Scan)
	d.title("Margins in force")
	var rows [][]string
	for _, m := range v.Margins {
		source := m.Source
		if m.Changed {
			source = "CHANGED BY THE PLAN. " + source
		}
		rows = append(rows, []string{m.Name, m.Margin, source})
	}
	d.table([]float64{0.26, 0.12, 0.62}, []string{"Structure", "Margin, mm", "Source"}, rows, 2.7)
	d.title("How it was measured")
	facts(v.Convent)
	d.y += 2
	for _, text := range []string{v.Words.Grey, v.Words.Share} {
		d.say(text, 2.8, regular, black, d.room())
	}
}
