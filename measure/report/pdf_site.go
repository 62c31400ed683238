package report

import "strings"

// loud writes a verdict so that it stands out without colour.
func loud(v verdictView) string {
	switch v.Class {
	case "not-held":
		return strings.ToUpper(v.Word)
	case "none":
		return "no margin"
	}
	return v.Word
}

// loudly writes every verdict that applies.
func loudly(all []verdictView) string { return strings.Join(each(all, loud), " · ") }

// site writes a site down the columns. Its picture goes where it has room first; the tables flow around it.
func (d *pdfDoc) site(i int) {
	v := d.view.page.Sites[i]
	d.need(50)
	d.y += 2
	d.bookmark(v.Name, 0)
	d.rule(0.5, black)
	d.y += 1
	d.say(v.ID, 7, bold, black)
	d.say(v.Place+"; side of the patient: "+v.Side, 3.2, regular, black)
	d.say(loudly(v.Verdicts), 3.4, bold, black)
	d.lines(v.Lines, 2.8, 0)
	d.cautions(v.Cautions, false, 2.8)
	d.cautions(v.Cautions, true, pdfNotes)
	d.y += 1
	picture := d.sectionOf(i)
	for _, part := range d.parts(v) {
		if picture != nil && d.y+picture.Height <= d.bottom() {
			d.place(picture)
			picture = nil
		}
		part()
	}
	if picture != nil {
		d.place(picture)
	}
}

// sectionOf returns the site's drawing, or nil where there is nothing to draw.
func (d *pdfDoc) sectionOf(i int) *sheet {
	s := d.view.page.Sites[i]
	if d.c.section(s.ID) == nil && s.Err != "" {
		return nil
	}
	return d.view.section(i, halfWidth)
}

// parts are what a site's tables are written by, in their order.
func (d *pdfDoc) parts(v siteView) []func() {
	if v.Err != "" {
		return []func(){func() {
			d.say("The bone of this site was not measured. "+v.Note, pdfBody, regular, black)
		}, func() { d.distances(v) }}
	}
	return []func(){func() { d.depths(v) }, func() { d.distances(v) }, func() { d.sizes(v) }, func() { d.facts(v) }}
}

func (d *pdfDoc) depths(v siteView) {
	t := pdfTable{[]float64{0.16, 0.28, 0.28, 0.28}, []string{"Depth", "Ridge width", "Buccal plate", d.view.page.InnerPlate}, nil, pdfTables}
	for _, r := range v.Table {
		t.rows = append(t.rows, textRow(r.Depth, orNo(r.Width), orNo(r.Buccal), orNo(r.Lingual)))
	}
	d.titled("By depth below the crest, mm ± U", t)
	for _, note := range v.DepthNotes {
		d.say(note, pdfNotes, regular, soft)
	}
}

// scaleWidth is how wide a distance's scale is drawn in the PDF, mm of paper.
const scaleWidth = 11.0

// distances writes what was held against a margin.
func (d *pdfDoc) distances(v siteView) {
	t := pdfTable{[]float64{0.428, 0.14, 0.155, 0.09, 0.187}, []string{"Distance", "Verdict", "Value ± U, mm", "Margin, mm", "On a scale of mm"}, nil, pdfNotes}
	for _, f := range v.Findings {
		row := namedRow(f.NameAt(), loud(f.Verdict), orNo(strings.TrimSuffix(f.Reading, " mm")), f.Margin, "").noted(f.Note)
		if f.scale != nil {
			row.chart = f.scale(scaleWidth)
		}
		t.rows = append(t.rows, row)
	}
	if len(t.rows) > 0 {
		d.titled("Distances held against their margins", t)
	}
	if len(v.Far) > 0 {
		d.say("Held, and farther than 10 mm: "+strings.Join(v.Far, "; ")+".", pdfNotes, regular, soft)
	}
}

func (d *pdfDoc) sizes(v siteView) {
	if len(v.Sizes) == 0 {
		return
	}
	t := pdfTable{[]float64{0.22, 0.18, 0.24, 0.36}, []string{"Diameter × length, mm", "Verdict", "Reserve, mm ± U", "What limits it"}, nil, pdfTables}
	for _, r := range v.Sizes {
		t.rows = append(t.rows, textRow(r.Size, loud(r.Verdict), orNo(r.Reserve), r.Limit))
	}
	d.titled("Sizes tried: the best place found for each, not a choice", t)
	if v.SizesNote != "" {
		d.say("Of every size: "+v.SizesNote+".", pdfNotes, regular, soft)
	}
}

func (d *pdfDoc) facts(v siteView) {
	t := pdfTable{[]float64{0.5, 0.5}, nil, []pdfRow{namedRow("Tooth position (ISO 3950)", v.Name), namedRow("Side of the patient", v.Side),
		namedRow("On the arch", v.Arc+" mm"), namedRow("Axis", orNo(v.Axis)), namedRow("Virtual implant", orNo(v.Implant))}, pdfTables}
	for _, f := range v.Facts {
		reading := orNo(f.Reading)
		if f.At != "" {
			reading += " at " + f.At + " mm"
		}
		t.rows = append(t.rows, namedRow(f.Name, reading).noted(f.Note))
	}
	if v.Note != "" {
		t.rows = append(t.rows, namedRow("Note", v.Note))
	}
	d.titled("This site", t)
}
