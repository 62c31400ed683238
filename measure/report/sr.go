package report

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"io"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/measure"
	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
)

// SR writes the case as a DICOM Comprehensive 3D SR after TID 1500: the cautions, the images measured on, and a
// measurement group a site. The site's verdicts come first; then a number a measurement, with its expanded uncertainty,
// its margin and its verdict, in the same four decimals as measurements.csv. The patient is named only when src has an
// identity; else the case's label stands there. docs/conformance.md says more.
func (v *View) SR(w io.Writer, src dicomio.Source) error {
	src = sourceOf(v.c, src)
	return dicomio.WriteSR(w, src, madeBy(v.c), v.tree(src))
}

// sourceOf returns the source with the case's label, and with what UIDs are made from where the series has none.
func sourceOf(c Case, src dicomio.Source) dicomio.Source {
	src.Label = c.Result.Case
	src.Seed = cmp.Or(src.Seed, c.Result.Scan.SeriesHash+c.Result.Plan.SHA256)
	return src
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
func (v *View) tree(src dicomio.Source) dicomio.Node {
	c := v.c
	root := container("", imagingReport, "1500")
	root.Nodes = []dicomio.Node{
		code("HAS CONCEPT MOD", language, english),
		code("HAS OBS CONTEXT", observerType, deviceObserver),
		{Relation: "HAS OBS CONTEXT", Type: "UIDREF", Name: deviceUID, Text: dicomio.DerivedUID("device", c.Provenance.Tool)},
		note("HAS OBS CONTEXT", deviceName, c.Provenance.Tool),
		code("HAS CONCEPT MOD", procedure, imaging),
	}
	for _, said := range v.page.Cautions {
		root.Nodes = append(root.Nodes, note("CONTAINS", caution, said.Text))
	}
	if len(src.Images) > 0 {
		root.Nodes = append(root.Nodes, library(c.Result, src))
	}
	all := container("CONTAINS", measurements, "")
	for i := range v.page.Sites {
		all.Nodes = append(all.Nodes, v.siteGroup(&v.page.Sites[i], src.Seed))
	}
	for _, row := range c.Result.Arch.Rows {
		name := row.Sites + " " + string(row.Quantity) + " " + row.To
		g := groupNode(name, name, src.Seed)
		none := &measure.SiteResult{}
		g.Nodes = append(g.Nodes, siteCode(c.Result.Jaw, none))
		all.Nodes = append(all.Nodes, withRow(g, c.Result.Jaw, none, row.Row))
	}
	if len(all.Nodes) > 0 {
		root.Nodes = append(root.Nodes, all)
	}
	return root
}

// library is the images measured on, and what all of them have in common. Source: DICOM PS3.16, TID 1600 to 1604.
func library(r *measure.Result, src dicomio.Source) dicomio.Node {
	const context = "HAS ACQ CONTEXT"
	g := container("CONTAINS", libraryGroup, "")
	g.Nodes = []dicomio.Node{
		code(context, modality, modalities[src.Modality()]),
		code(context, targetRegion, jawCode(r.Jaw)),
		{Relation: context, Type: "UIDREF", Name: frameUID, Text: src.Frame()},
	}
	s := r.Scan
	for _, n := range []dicomio.Node{
		numeric(pixelRows, strconv.Itoa(s.Size[1]), pixelUnit), numeric(pixelColumns, strconv.Itoa(s.Size[0]), pixelUnit),
		numeric(spacingAcross, digits(s.Spacing[0]), units["mm"]), numeric(spacingDown, digits(s.Spacing[1]), units["mm"]),
		numeric(spacingBetween, digits(s.Spacing[2]), units["mm"]),
	} {
		if n.Text != "" {
			n.Relation = context
			g.Nodes = append(g.Nodes, n)
		}
	}
	for _, uid := range src.Instances() {
		g.Nodes = append(g.Nodes, dicomio.Node{Relation: "CONTAINS", Type: "IMAGE", Name: sourceImage, Text: uid})
	}
	all := container("CONTAINS", imageLibrary, "1600")
	all.Nodes = []dicomio.Node{g}
	return all
}

// siteGroup is a site's measurement group: first its verdicts and what limits it, then the numbers.
func (v *View) siteGroup(s *siteView, seed string) dicomio.Node {
	jaw := v.c.Result.Jaw
	g := groupNode("site "+s.Name, "site "+s.ID, seed)
	g.Nodes = append(g.Nodes, siteCode(jaw, s.result))
	for _, verdict := range s.Verdicts {
		g.Nodes = append(g.Nodes, verdictNode("CONTAINS", verdict))
	}
	g.Nodes = append(g.Nodes, note("CONTAINS", comment, siteComment(s)))
	for _, row := range rowsOf(s.result) {
		g = withRow(g, jaw, s.result, row)
	}
	says := "Expanded uncertainty U = 2 u (k = 2) stands behind each number. " + shortCaution
	if mark := v.page.Mark; mark != "" {
		says += " " + mark
	}
	g.Nodes = append(g.Nodes, note("CONTAINS", comment, says))
	return g
}

// siteComment says the site's verdicts, what limits it and its height, in the words of the first page.
func siteComment(s *siteView) string {
	words := each(s.Verdicts, func(v verdictView) string { return v.Word })
	text := "Site " + s.Name + ": " + strings.Join(words, " · ")
	for _, line := range s.Lines {
		text += ". " + line.Text
	}
	if h := s.Height; h.Reading != "" {
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

// withRow adds a row of a site to its group: as a number with all that belongs to it where its concept and its unit have
// codes, as all that measure writes have, else as text.
func withRow(g dicomio.Node, jaw measure.Jaw, s *measure.SiteResult, row measure.Row) dicomio.Node {
	concept, coded := conceptOf(row.Quantity), row.Quantity.Known()
	if quantity.Of(row.Quantity).EndsAtLimit && wall(s.HeightTo) {
		concept = length // along the axis to a side wall: no height
	}
	unit, known := units[row.Unit]
	if !coded || !known {
		g.Nodes = append(g.Nodes, note("CONTAINS", comment, rowName(row, jaw)+": "+cells.Optional(row.Value)+" "+row.Note))
		return g
	}
	n := numeric(concept, cells.Optional(row.Value), unit)
	n.Relation = "CONTAINS"
	if n.Text == "" {
		n.Code = failure
	}
	n.Nodes = append(n.Nodes, code("HAS CONCEPT MOD", method, methodOf(row.Quantity, jaw)))
	if row.To != "" {
		n.Nodes = append(n.Nodes, note("HAS CONCEPT MOD", measuredTo, row.To))
	}
	if row.Value != nil && len(row.Budget) > 0 {
		n.Nodes = withNumber(n.Nodes, uncertaintyOf, cells.Number(row.Budget.U()), unit)
	}
	if row.At != nil {
		n.Nodes = withNumber(n.Nodes, depth, digits(*row.At), units["mm"])
	}
	n.Nodes = withNumber(n.Nodes, margin, cells.Optional(row.Margin), units["mm"])
	if row.Verdict != measure.NoMargin {
		n.Nodes = append(n.Nodes, verdictNode("HAS PROPERTIES", verdictOf(row.Verdict)))
	}
	if row.Note != "" {
		n.Nodes = append(n.Nodes, note("HAS PROPERTIES", comment, row.Note))
	}
	if points := chordPoints(s, row); len(points) == 2 {
		n.Nodes = append(n.Nodes, dicomio.Node{Relation: "INFERRED FROM", Type: "SCOORD3D", Name: path, Points: points})
	}
	g.Nodes = append(g.Nodes, n)
	return g
}

// withNumber adds a property of a measurement, where it has a number.
func withNumber(to []dicomio.Node, name dicomio.Code, text string, unit dicomio.Code) []dicomio.Node {
	if text == "" {
		return to
	}
	return append(to, numeric(name, text, unit))
}

func numeric(name dicomio.Code, text string, unit dicomio.Code) dicomio.Node {
	return dicomio.Node{Relation: "HAS PROPERTIES", Type: "NUM", Name: name, Text: text, Code: unit}
}

func verdictNode(relation string, v verdictView) dicomio.Node {
	return code(relation, verdict, own(strings.ReplaceAll(strings.TrimSuffix(v.Word, " applies"), " ", "_"), v.Word))
}

// digits writes a depth or a spacing in as few digits as say it to four decimals; NaN is empty.
func digits(x float64) string {
	if cells.Number(x) == "" {
		return ""
	}
	return plain(nearest(x, 4))
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

// Captures returns the case's drawings as one series of DICOM Secondary Captures with their pixel size, named like the
// drawings: "dicom/sections/36.dcm".
func (v *View) Captures(src dicomio.Source) ([]File, error) {
	c := v.c
	src = sourceOf(c, src)
	series := sha256.New() // of the result: measured again, the drawings are another series
	p := c.Provenance
	p.Files = nil
	if err := WriteJSON(series, c.Result, p); err != nil {
		return nil, err
	}
	sum := fmt.Sprintf("%x", series.Sum(nil))
	var work []job
	for i, d := range v.drawn() {
		work = append(work, job{"dicom/" + d.Name + ".dcm", func(w io.Writer) error {
			size := pixelSize(d.sheet.Scale)
			img, err := d.sheet.paint(1 / (size * d.sheet.Scale))
			if err != nil {
				return err
			}
			return dicomio.WriteCapture(w, src, madeBy(c), dicomio.Capture{Image: img, Spacing: size, Title: d.sheet.Title, Series: sum, Number: i + 1})
		}})
	}
	return run(work)
}
