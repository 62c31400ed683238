package report

import (
	"io"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

// SR writes the case as a DICOM Comprehensive 3D SR after TID 1500: a measurement group a site, a
// number a measurement with its expanded uncertainty, the same four decimals as measurements.csv.
// What has no code is text. The patient is named only when src has an identity.
func SR(w io.Writer, c Case, src dicomio.Source) error {
	src.Seed = seedOf(c, src)
	return dicomio.WriteSR(w, src, madeBy(c), tree(c, src.Seed))
}

func seedOf(c Case, src dicomio.Source) string {
	if src.Seed != "" {
		return src.Seed
	}
	return c.Result.Scan.SeriesHash + c.Result.Plan.SHA256
}

func madeBy(c Case) dicomio.Made {
	tool, version, _ := strings.Cut(c.Provenance.Tool, " ")
	if tool == "" {
		tool = "unknown"
	}
	if version == "" {
		version = "unknown"
	}
	return dicomio.Made{Tool: tool, Version: version, Date: c.Provenance.Date}
}

// tree is the document's content: TID 1500.
func tree(c Case, seed string) dicomio.Node {
	root := container("", imagingReport, "1500")
	root.Nodes = []dicomio.Node{
		code("HAS CONCEPT MOD", language, english),
		code("HAS OBS CONTEXT", observerType, deviceObserver),
		{Relation: "HAS OBS CONTEXT", Type: "UIDREF", Name: deviceUID, Text: dicomio.DerivedUID("device", c.Provenance.Tool)},
		note("HAS OBS CONTEXT", deviceName, c.Provenance.Tool),
		code("HAS CONCEPT MOD", procedure, imaging),
	}
	for _, caution := range cautionsOf(c.Result) {
		root.Nodes = append(root.Nodes, note("CONTAINS", comment, caution.Text))
	}
	all := container("CONTAINS", measurements, "")
	for i := range c.Result.Sites {
		all.Nodes = append(all.Nodes, siteGroup(c.Result, &c.Result.Sites[i], seed))
	}
	for _, row := range c.Result.Arch.Rows {
		name := row.Sites + " " + string(row.Quantity) + " " + row.To
		g := groupNode(name, name, seed)
		none := &measure.SiteResult{}
		g.Nodes = append(g.Nodes, siteCode(c.Result.Jaw, none))
		all.Nodes = append(all.Nodes, withRow(g, c.Result.Jaw, none, row.Row))
	}
	if len(all.Nodes) > 0 {
		root.Nodes = append(root.Nodes, all)
	}
	return root
}

// siteGroup is a site's measurement group: first its verdicts and what limits it, then the numbers.
func siteGroup(r *measure.Result, s *measure.SiteResult, seed string) dicomio.Node {
	g := groupNode("site "+siteName(s), "site "+s.ID, seed)
	g.Nodes = append(g.Nodes, siteCode(r.Jaw, s), note("CONTAINS", comment, siteComment(r, s)))
	for _, row := range rowsOf(s) {
		g = withRow(g, r.Jaw, s, row)
	}
	says := "Expanded uncertainty U = 2 u (k = 2) stands behind each number. " + shortCaution
	if mark := markOf(r); mark != "" {
		says += " " + mark
	}
	g.Nodes = append(g.Nodes, note("CONTAINS", comment, says))
	return g
}

// siteComment says the site's verdicts, what limits it and its height, in the words of the first page.
func siteComment(r *measure.Result, s *measure.SiteResult) string {
	words := each(verdictsOf(s), func(v verdictView) string { return v.Word })
	text := "Site " + siteName(s) + ": " + strings.Join(words, " · ")
	for _, line := range linesOf(s, r.Jaw) {
		text += ". " + line.Text
	}
	if h := heightOf(s, r.Jaw); h.Reading != "" {
		text += ". " + initial(h.Name, strings.ToUpper) + " in mm: " + h.String()
	}
	return text + "."
}

// chordPoints returns the ends of the chord that a width was taken on, in the patient.
func chordPoints(s *measure.SiteResult, row measure.Row) []r3.Vec {
	if row.Quantity != quantity.RidgeWidth || row.At == nil {
		return nil
	}
	for _, c := range s.Chords {
		if c.Depth == *row.At {
			return finite([]r3.Vec{s.Frame.Patient(c.Buccal), s.Frame.Patient(c.Lingual)})
		}
	}
	return nil
}

// groupNode is an empty group called words; name stands for it in its UID.
func groupNode(words, name, seed string) dicomio.Node {
	g := container("CONTAINS", group, "1501")
	g.Nodes = []dicomio.Node{
		note("HAS OBS CONTEXT", trackingName, words),
		{Relation: "HAS OBS CONTEXT", Type: "UIDREF", Name: trackingUID, Text: dicomio.DerivedUID(name, seed)},
	}
	return g
}

// siteCode is the finding site: the bone; its side where the site's place tells it, never by the tooth's
// number; and the tooth region.
func siteCode(jaw measure.Jaw, s *measure.SiteResult) dicomio.Node {
	n := code("HAS CONCEPT MOD", findingSite, jawCode(jaw))
	if side, known := sides[s.Side]; known {
		n.Nodes = append(n.Nodes, code("HAS CONCEPT MOD", laterality, side))
	}
	if region, known := regionOf(s.Tooth); known {
		n.Nodes = append(n.Nodes, code("HAS CONCEPT MOD", topographical, region))
	}
	return n
}

// withRow adds a row of a site to its group: as a number where its concept and its unit have codes, else as
// text; a verdict as text behind it.
func withRow(g dicomio.Node, jaw measure.Jaw, s *measure.SiteResult, row measure.Row) dicomio.Node {
	concept, coded := concepts[row.Quantity]
	if quantity.Of(row.Quantity).EndsAtLimit && wall(s.HeightTo) {
		concept = length // along the axis to a side wall: no height
	}
	unit, known := units[row.Unit]
	if !coded || !known {
		g.Nodes = append(g.Nodes, note("CONTAINS", comment, rowName(row, jaw)+": "+cellOf(row.Value)+" "+row.Note))
		return g
	}
	n := dicomio.Node{Relation: "CONTAINS", Type: "NUM", Name: concept, Text: cellOf(row.Value), Code: unit}
	if n.Text == "" {
		n.Code = failure
	}
	says := string(row.Quantity)
	if row.To != "" {
		says += " to " + row.To
	}
	n.Nodes = append(n.Nodes, note("HAS CONCEPT MOD", method, says))
	if row.Value != nil && len(row.Budget) > 0 {
		n.Nodes = append(n.Nodes, dicomio.Node{Relation: "HAS PROPERTIES", Type: "NUM", Name: uncertaintyOf, Text: cell(row.Budget.U()), Code: unit})
	}
	if row.At != nil {
		n.Nodes = append(n.Nodes, dicomio.Node{Relation: "HAS PROPERTIES", Type: "NUM", Name: depth, Text: at(row.At), Code: units["mm"]})
	}
	if points := chordPoints(s, row); len(points) == 2 {
		n.Nodes = append(n.Nodes, dicomio.Node{Relation: "INFERRED FROM", Type: "SCOORD3D", Name: path, Points: points})
	}
	g.Nodes = append(g.Nodes, n)
	if row.Verdict != "" || row.Note != "" {
		g.Nodes = append(g.Nodes, note("CONTAINS", comment, lineOf([]measure.Row{row}, jaw).Text))
	}
	return g
}

func container(relation string, name dicomio.Code, template string) dicomio.Node {
	return dicomio.Node{Relation: relation, Type: "CONTAINER", Name: name, Template: template}
}

func code(relation string, name, value dicomio.Code) dicomio.Node {
	return dicomio.Node{Relation: relation, Type: "CODE", Name: name, Code: value}
}

func note(relation string, name dicomio.Code, text string) dicomio.Node {
	if text == "" {
		text = "none"
	}
	return dicomio.Node{Relation: relation, Type: "TEXT", Name: name, Text: text}
}

// Captures returns the case's drawings as DICOM Secondary Capture objects with their pixel size,
// named like the drawings: "dicom/sections/36.dcm".
func Captures(c Case, src dicomio.Source) ([]File, error) {
	src.Seed = seedOf(c, src)
	drawings, err := Drawings(c)
	if err != nil {
		return nil, err
	}
	var work []job
	for _, d := range drawings {
		work = append(work, job{"dicom/" + d.Name + ".dcm", func(w io.Writer) error {
			size := pixelSize(d.sheet.Scale)
			img, err := d.sheet.paint(1 / (size * d.sheet.Scale))
			if err != nil {
				return err
			}
			return dicomio.WriteCapture(w, src, madeBy(c), img, size, d.sheet.Title)
		}})
	}
	return run(work)
}
