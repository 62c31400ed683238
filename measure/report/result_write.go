package report

import (
	"bytes"
	"io"
	"math"
	"time"

	"ridgerule/measure"
	"ridgerule/measure/uncertainty"
)

// resultFormat is the version of result.json. Additions keep it; a changed name or meaning does not.
const resultFormat = 1

// WriteJSON writes everything of the result: numbers with their budgets term by term, places,
// margins, the scan and the provenance, as [Schema] describes it, with its content_sha256. [ReadJSON] gives it back.
func WriteJSON(w io.Writer, r *measure.Result, p Provenance) error {
	var b bytes.Buffer
	if err := writeIndented(&b, fileOf(r, p)); err != nil {
		return err
	}
	_, err := w.Write(sealed(b.Bytes()))
	return err
}

func fileOf(r *measure.Result, p Provenance) resultJSON {
	return resultJSON{
		Format: resultFormat, Content: noContent, Files: p.Files, Case: r.Case, Jaw: r.Jaw, Synthetic: r.Synthetic,
		Cautions:   cautions(r),
		Provenance: provenanceOf(r, p),
		Scan:       scanOf(r),
		Convention: conventionJSON{vecOf(r.Occlusal), r.OcclusalFrom, r.OrientationNote},
		Margins:    append([]marginJSON{}, each(r.Margins, marginOf)...),
		Structures: append([]structureJSON{}, each(r.Structures, structureOf)...),
		Sites:      append([]siteJSON{}, each(r.Sites, siteOf)...),
		Arch: archJSON{
			Curve: each(r.Arch.Curve, vecOf), Length: num(r.Arch.Length), Rows: each(r.Arch.Rows, archRowOf),
		},
	}
}

// cautions are the sentences that go with every number of the result.
func cautions(r *measure.Result) []measure.Caution {
	out := generalCautions
	if r.Synthetic {
		out = append(out[:len(out):len(out)], measure.Caution{Code: codeSynthetic, Text: syntheticCaution, Severity: measure.SeverityNote})
	}
	return append(out[:len(out):len(out)], r.Cautions...)
}

// codeSynthetic is the code of the caution that a synthetic volume carries.
const codeSynthetic = "synthetic"

// generalCautions go with every result.
var generalCautions = []measure.Caution{
	{Code: "reviewer", Text: shortCaution, Severity: measure.SeverityNote},
	{Code: "not_the_patient", Text: passCaution, Severity: measure.SeverityNote},
	{Code: "grey_values", Text: greyCaution, Severity: measure.SeverityNote},
}

func provenanceOf(r *measure.Result, p Provenance) provenanceJSON {
	out := provenanceJSON{Tool: p.Tool, Options: p.Options, Plan: planJSON{r.Plan.SHA256}}
	if src := p.Source.Deidentified(); src.Series != "" || src.Study != "" || len(src.Images) > 0 || src.Pseudonym != "" {
		out.Source = &sourceJSON{src.Study, src.Series, src.FrameOfReference, src.Class, src.Images, src.Pseudonym}
	}
	if !p.Date.IsZero() {
		out.Date = p.Date.UTC().Format(time.RFC3339)
	}
	return out
}

func scanOf(r *measure.Result) scanJSON {
	s := r.Scan
	return scanJSON{
		SeriesHash: s.SeriesHash, FrameHash: s.FrameHash, Size: s.Size,
		Spacing:  [3]num{num(s.Spacing[0]), num(s.Spacing[1]), num(s.Spacing[2])},
		Encoding: s.Encoding, Orientation: s.Orientation, Verdict: s.Verdict, Cautions: s.Cautions,
		Blur: num(s.Blur), Noise: num(s.Noise), ScaleHalfWidth: num(r.ScaleHalfWidth),
	}
}

func marginOf(m measure.NamedRule) marginJSON {
	return marginJSON{m.Name, num(m.Margin), m.Source, m.Mark, m.Changed}
}

func structureOf(s measure.Structure) structureJSON {
	out := structureJSON{
		Name: s.Name, Kind: s.Kind, Path: each(s.Path, vecOf), SD: num(s.SD),
		Radii:  each(s.Radii, func(x float64) num { return num(x) }),
		Margin: known(s.Margin), Removal: s.PlannedRemoval, Lift: s.PlannedLift, Proposed: s.Proposed, Confidence: known(s.Confidence),
	}
	if s.Surface != nil {
		out.Surface = &surfaceJSON{each(s.Surface.Points, vecOf), s.Surface.Triangles}
	}
	return out
}

func siteOf(s measure.SiteResult) siteJSON {
	f := s.Frame
	return siteJSON{
		ID: s.ID, Tooth: s.Tooth, Side: s.Side, Name: s.Name,
		Frame:   frameJSON{num(f.Arc), vecOf(f.Origin), vecOf(f.U), vecOf(f.V), vecOf(f.T)},
		Outline: each(s.Outline, uvOf), Crest: uvOf(s.Crest), Axis: uvOf(s.Axis), AxisFrom: s.AxisFrom,
		Chords: each(s.Chords, chordOf), HeightEnd: uvOf(s.HeightEnd), HeightTo: s.HeightTo, Open: s.HeightOpen,
		Usable: known(s.UsableDepth), Level: levelOf(s.Level), Implant: implantOf(s.Implant), Findings: each(s.Findings, findingOf),
		Tried: each(s.SizesTried, rungOf), Rows: each(s.Rows, rowOf),
		Verdict: s.Verdict, Note: s.Note, Err: s.Err,
	}
}

func chordOf(c measure.Chord) chordJSON {
	return chordJSON{num(c.Depth), uvOf(c.Buccal), uvOf(c.Lingual), uvPointer(c.BuccalInner), uvPointer(c.LingualInner)}
}

func levelOf(l *measure.Level) *levelJSON {
	if l == nil {
		return nil
	}
	return &levelJSON{num(l.Depth), [2]uv{uvOf(l.Line[0]), uvOf(l.Line[1])}}
}

func implantOf(b *measure.Implant) *implantJSON {
	if b == nil {
		return nil
	}
	return &implantJSON{vecOf(b.Platform), vecOf(b.Axis), num(b.Diameter), num(b.ApexDiameter), num(b.Length)}
}

func findingOf(f measure.Finding) findingJSON {
	std, U := math.NaN(), math.NaN()
	if len(f.Distance.Budget) > 0 {
		std, U = f.Distance.Std(), f.Distance.U()
	}
	return findingJSON{
		To: f.To, Kind: f.Kind, Distance: num(f.Distance.Value), Std: num(std), U: num(U),
		Budget: f.Distance.Budget, Near: [2]vec{vecOf(f.Near[0]), vecOf(f.Near[1])},
		Margin: num(f.Margin), Source: f.Source, Verdict: f.Verdict, Reason: f.Reason,
	}
}

func rungOf(r measure.SizeResult) rungJSON {
	return rungJSON{
		Diameter: num(r.Diameter), Length: num(r.Length), ApexDiameter: num(r.Apex),
		Lateral: num(r.Pose.Lateral), Depth: num(r.Pose.Depth), InSection: num(r.Pose.InSection), MesioDistal: num(r.Pose.MesioDistal),
		Implant: *implantOf(&r.Implant), Reserve: num(r.Reserve), U: num(r.U), Limit: r.Limit,
		Verdict: r.Verdict, Reason: r.Reason, Findings: each(r.Findings, findingOf),
	}
}

func rowOf(r measure.Row) rowJSON {
	std, U := spread(r.Budget)
	return rowJSON{
		Quantity: r.Quantity, At: known(r.At), To: r.To, Value: known(r.Value), Unit: r.Unit,
		Std: std, U: U, Budget: r.Budget, Margin: known(r.Margin), Verdict: r.Verdict, Note: r.Note, Kind: r.Kind,
	}
}

func archRowOf(r measure.ArchRow) rowJSON {
	out := rowOf(r.Row)
	out.Sites = r.Sites
	return out
}

// spread returns the standard and the expanded uncertainty of a budget, in its unit; an empty
// budget has neither.
func spread(b uncertainty.Budget) (std, U *float64) {
	if len(b) == 0 {
		return nil, nil
	}
	x, y := b.Std(), b.U()
	return known(&x), known(&y)
}

// known returns p unless what it points to is no number.
func known(p *float64) *float64 {
	if p == nil || math.IsNaN(*p) || math.IsInf(*p, 0) {
		return nil
	}
	return p
}
