package report

// opening writes the first page: the answer, every site, the cautions, and what the reviewer fills in.
func (d *pdfDoc) opening(v pageView) {
	d.newPage()
	d.bookmark("Summary", 0)
	d.say("Ridge measurements, "+v.Jaw, 3.4, regular, soft)
	d.say(v.Case, 9, bold, black)
	d.y += 2
	d.say(v.Answer, pdfLead, regular, black)
	d.y += 2
	d.cautions(v.Cautions, false, pdfBody)
	d.say("Under each site what limits it: overlaps, structures nearer than twice their margin, what was not assessed, bone beside the implant. Height and widths in mm, ± expanded uncertainty U (k = 2); widths by depth below the crest in mm.", 2.8, regular, soft)
	d.y += 1
	d.siteTables(v)
	d.y += 3
	for _, text := range []string{v.Words.Short, v.Words.Pass, v.Words.Side} {
		d.say(text, pdfBody, regular, black)
	}
	d.cautions(v.Cautions, true, 2.6)
	d.blanks("To be filled by the reviewer", v.Words.Review)
}

// mostWidths is how many depths stand beside each other: more go into a table below, so that no number is broken.
const mostWidths = 6

// siteTables writes the first page's table: a line of numbers a site, and under it what limits it.
func (d *pdfDoc) siteTables(v pageView) {
	for from := 0; from == 0 || from < len(v.Depths); from += mostWidths {
		to := min(len(v.Depths), from+mostWidths)
		t := pdfTable{[]float64{0.16}, []string{"Site"}, nil, 2.8}
		if from == 0 {
			t.shares, t.header = append(t.shares, 0.14, 0.16), append(t.header, "Verdicts", "Height")
		}
		for _, depth := range v.Depths[from:to] {
			t.shares, t.header = append(t.shares, 0.54/mostWidths), append(t.header, "Width at "+depth)
		}
		for _, s := range v.Sites {
			row := textRow(append([]string{s.ID + " " + s.Place}, each(s.Widths[from:to], orNo)...)...)
			if from == 0 {
				row.cells = append([]cellView{row.cells[0], {loudly(s.Verdicts), regular}, heightCell(s.Height)}, row.cells[1:]...)
				row.under = s.Lines
			}
			t.rows = append(t.rows, row)
		}
		d.table(t)
		d.y += 1
	}
}

// heightCell is a height for the first page: bold unless it is open.
func heightCell(h heightView) cellView {
	if h.Open || h.Reading == "" {
		return cellView{orNo(h.String()), regular}
	}
	return cellView{h.String(), bold}
}

// blanks writes lines for a pen.
func (d *pdfDoc) blanks(title string, lines []string) {
	d.title(title, 8.5*float64(len(lines)))
	for _, text := range lines {
		d.y += 8.5
		d.put(d.left, d.y, pdfBody, regular, soft, start, text)
		d.stroke(d.left+74, d.y+0.8, d.left+d.wide, d.y+0.8, 0.2, black)
	}
}

// archColumn is the arch's room in a column, mm of paper.
var archColumn = spot{86, 80}

// archPages writes the arch and what lies between the sites.
func (d *pdfDoc) archPages(v pageView) {
	d.across()
	d.need(80)
	d.bookmark("The arch", 0)
	d.title("The arch", 0)
	if p := d.c.Panoramic; p != nil {
		d.place(panoramicSheet(d.c.Result, *p, d.view.window, spot{158, 60}))
	}
	d.into(2)
	if s := archSheet(d.c.Result, archColumn, tiny); s != nil {
		d.place(s)
	}
	if len(v.Pairs.Rows) > 0 {
		share := 1 / float64(len(v.Pairs.IDs)+1)
		t := pdfTable{[]float64{share}, append([]string{"Site"}, v.Pairs.IDs...), nil, pdfTables}
		for _, r := range v.Pairs.Rows {
			t.shares = append(t.shares, share)
			t.rows = append(t.rows, textRow(append([]string{r.ID}, r.Cells...)...))
		}
		d.titled("Every pair of implants: angle above the diagonal, distance of platforms in mm below", t)
	}
	if len(v.ArchRows) > 0 {
		t := pdfTable{[]float64{0.09, 0.352, 0.14, 0.126, 0.09, 0.202}, []string{"Sites", "Quantity", "Verdict", "Value ± U", "Margin, mm", "Note"}, nil, pdfNotes}
		for i, r := range v.ArchRows {
			if i > 0 && r.Note != "" && r.Note == v.ArchRows[i-1].Note {
				r.Note = "as above"
			}
			t.rows = append(t.rows, textRow(r.Sites, r.Name, loud(r.Verdict), orNo(r.Reading), orNo(r.Margin), r.Note))
		}
		d.titled("Between sites, and over the arch", t)
	}
}

// basis writes what the numbers rest on.
func (d *pdfDoc) basis(v pageView) {
	d.need(40)
	d.bookmark("What this rests on", 0)
	d.factTable("The scan and the plan", v.Scan)
	t := pdfTable{[]float64{0.26, 0.12, 0.62}, []string{"Structure", "Margin, mm", "Source"}, nil, pdfTables}
	for _, m := range v.Margins {
		source := m.Source
		if m.Changed {
			source = "CHANGED BY THE PLAN. " + source
		}
		t.rows = append(t.rows, textRow(m.Name, m.Margin, source))
	}
	d.titled("Margins in force", t)
	d.factTable("How it was measured", v.Convent)
	d.y += 2
	for _, text := range []string{v.Words.Grey, v.Words.Share} {
		d.say(text, pdfTables, regular, black)
	}
}

func (d *pdfDoc) factTable(title string, facts []fact) {
	t := pdfTable{[]float64{0.28, 0.72}, nil, nil, pdfTables}
	for _, f := range facts {
		t.rows = append(t.rows, textRow(f.Name, f.Value))
	}
	d.titled(title, t)
}
