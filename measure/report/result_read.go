package report

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/measure"
	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// Schema is the JSON Schema (2020-12) of result.json.
//
//go:embed result.schema.json
var Schema []byte

// ErrResult is what [ReadJSON] returns for a file that is no result of ours; test for it with
// errors.Is.
var ErrResult = errors.New("report: not a result file")

// maxResult bounds what ReadJSON reads, bytes: far above any case, far below memory.
const maxResult = 512 << 20

// schemaName is what errors call the schema; a plain file name would grow to where the program runs.
const schemaName = "urn:ridgerule:result"

var resultSchema = sync.OnceValues(func() (*jsonschema.Schema, error) {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema))
	if err != nil {
		return nil, err
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(schemaName, doc); err != nil {
		return nil, err
	}
	return c.Compile(schemaName)
})

// ReadJSON reads a result that [WriteJSON] wrote. The file is held against [Schema] first; an
// error wraps [ErrResult] and says where the file departs from it. With [ErrChanged], for a file that is not as it was
// written, comes the result all the same.
func ReadJSON(r io.Reader) (*measure.Result, Provenance, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxResult+1))
	if err != nil {
		return nil, Provenance{}, err
	}
	if len(data) > maxResult {
		return nil, Provenance{}, fmt.Errorf("%w: more than %d bytes", ErrResult, maxResult)
	}
	if err := validate(data); err != nil {
		return nil, Provenance{}, err
	}
	var file resultJSON
	if err := json.Unmarshal(data, &file); err != nil {
		return nil, Provenance{}, fmt.Errorf("%w: %v", ErrResult, err)
	}
	p, err := file.Provenance.provenance()
	if err != nil {
		return nil, Provenance{}, err
	}
	p.Files = file.Files
	if counted, written := contentHash(data); counted != written {
		err = fmt.Errorf("%w: the bytes of the result do not fit its content_sha256", ErrChanged)
	}
	return file.result(), p, err
}

func validate(data []byte) error {
	schema, err := resultSchema()
	if err != nil {
		return fmt.Errorf("report: result.schema.json: %w", err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	if err != nil {
		return fmt.Errorf("%w: %v", ErrResult, err)
	}
	if err := schema.Validate(doc); err != nil {
		return fmt.Errorf("%w: %v", ErrResult, err)
	}
	return nil
}

func (p provenanceJSON) provenance() (Provenance, error) {
	out := Provenance{Tool: p.Tool, Options: p.Options}
	if s := p.Source; s != nil {
		out.Source = dicomio.Source{Study: s.Study, Series: s.Series, FrameOfReference: s.Frame, Class: s.Class, Images: s.Images, Pseudonym: s.Pseudonym, Replaced: true}
	}
	if p.Date == "" {
		return out, nil
	}
	date, err := time.Parse(time.RFC3339, p.Date)
	if err != nil {
		return out, fmt.Errorf("%w: provenance date: %v", ErrResult, err)
	}
	out.Date = date.UTC()
	return out, nil
}

func (f resultJSON) result() *measure.Result {
	return &measure.Result{
		Case: f.Case, Jaw: f.Jaw, Synthetic: f.Synthetic,
		Occlusal: f.Convention.Occlusal.patient(), OcclusalFrom: f.Convention.From, OrientationNote: f.Convention.Note,
		Sites:      each(f.Sites, siteJSON.site),
		Arch:       f.Arch.arch(),
		Structures: each(f.Structures, structureJSON.structure),
		Margins:    each(f.Margins, marginJSON.rule),
		Cautions:   specific(f.Cautions),
		Scan:       f.Scan.scan(), ScaleHalfWidth: float64(f.Scan.ScaleHalfWidth),
		Plan: measure.PlanFacts{SHA256: f.Provenance.Plan.SHA256},
	}
}

// specific returns the cautions without those that every result carries.
func specific(all []measure.Caution) []measure.Caution {
	var out []measure.Caution
	for _, c := range all {
		general := slices.ContainsFunc(generalCautions, func(g measure.Caution) bool { return g.Code == c.Code })
		if !general && c.Code != codeSynthetic {
			out = append(out, c)
		}
	}
	return out
}

func (a archJSON) arch() measure.ArchResult {
	return measure.ArchResult{
		Curve: each(a.Curve, vec.patient), Length: float64(a.Length),
		Rows: each(a.Rows, func(r rowJSON) measure.ArchRow { return measure.ArchRow{Sites: r.Sites, Row: r.row()} }),
	}
}

func (s scanJSON) scan() measure.Scan {
	return measure.Scan{
		SeriesHash: s.SeriesHash, FrameHash: s.FrameHash, Size: s.Size,
		Spacing:  [3]float64{float64(s.Spacing[0]), float64(s.Spacing[1]), float64(s.Spacing[2])},
		Encoding: s.Encoding, Orientation: s.Orientation, Verdict: s.Verdict, Cautions: s.Cautions,
		Blur: float64(s.Blur), Noise: float64(s.Noise),
	}
}

func (m marginJSON) rule() measure.NamedRule {
	return measure.NamedRule{
		Name: m.Name, Changed: m.Changed,
		Rule: measure.Rule{Margin: float64(m.Margin), Source: m.Source, Mark: m.Mark},
	}
}

func (s structureJSON) structure() measure.Structure {
	out := measure.Structure{
		Name: s.Name, Kind: s.Kind, Path: each(s.Path, vec.patient), SD: float64(s.SD),
		Radii:  each(s.Radii, func(x num) float64 { return float64(x) }),
		Margin: s.Margin, PlannedRemoval: s.Removal, PlannedLift: s.Lift, Proposed: s.Proposed, Confidence: s.Confidence,
	}
	if s.Surface != nil {
		out.Surface = &measure.Surface{Points: each(s.Surface.Points, vec.patient), Triangles: s.Surface.Triangles}
	}
	return out
}

func (s siteJSON) site() measure.SiteResult {
	return measure.SiteResult{
		ID: s.ID, Tooth: s.Tooth, Side: s.Side, Name: s.Name, Frame: s.Frame.frame(),
		Outline: each(s.Outline, uv.section), Crest: s.Crest.section(), Axis: s.Axis.section(), AxisFrom: s.AxisFrom,
		Chords: each(s.Chords, chordJSON.chord), HeightEnd: s.HeightEnd.section(), HeightTo: s.HeightTo, HeightOpen: s.Open,
		UsableDepth: s.Usable, Level: s.Level.level(), Implant: s.Implant.implant(), Findings: each(s.Findings, findingJSON.finding),
		SizesTried: each(s.Tried, rungJSON.rung), Rows: each(s.Rows, rowJSON.row),
		Verdict: s.Verdict, Note: s.Note, Err: s.Err,
	}
}

func (f frameJSON) frame() reformat.Frame {
	return reformat.Frame{
		Arc: float64(f.Arc), Origin: f.Origin.patient(),
		U: f.Buccal.patient(), V: f.Coronal.patient(), T: f.Along.patient(),
	}
}

func (c chordJSON) chord() measure.Chord {
	return measure.Chord{
		Depth: float64(c.Depth), Buccal: c.Buccal.section(), Lingual: c.Lingual.section(),
		BuccalInner: c.BuccalInner.pointer(), LingualInner: c.LingualInner.pointer(),
	}
}

func (l *levelJSON) level() *measure.Level {
	if l == nil {
		return nil
	}
	return &measure.Level{Depth: float64(l.Depth), Line: [2]reformat.UV{l.Line[0].section(), l.Line[1].section()}}
}

func (b *implantJSON) implant() *measure.Implant {
	if b == nil {
		return nil
	}
	return &measure.Implant{
		Platform: b.Platform.patient(), Axis: b.Axis.patient(),
		Diameter: float64(b.Diameter), ApexDiameter: float64(b.ApexDiameter), Length: float64(b.Length),
	}
}

func (f findingJSON) finding() measure.Finding {
	return measure.Finding{
		To: f.To, Kind: f.Kind, Distance: uncertainty.Length{Value: float64(f.Distance), Budget: f.Budget},
		Near:   [2]r3.Vec{f.Near[0].patient(), f.Near[1].patient()},
		Margin: float64(f.Margin), Source: f.Source, Verdict: f.Verdict, Reason: f.Reason,
	}
}

func (r rungJSON) rung() measure.SizeResult {
	return measure.SizeResult{
		Size:    measure.Size{Diameter: float64(r.Diameter), Length: float64(r.Length), Apex: float64(r.ApexDiameter)},
		Pose:    measure.Pose{Lateral: float64(r.Lateral), Depth: float64(r.Depth), InSection: float64(r.InSection), MesioDistal: float64(r.MesioDistal)},
		Implant: *r.Implant.implant(), Reserve: float64(r.Reserve), U: float64(r.U), Limit: r.Limit,
		Verdict: r.Verdict, Reason: r.Reason, Findings: each(r.Findings, findingJSON.finding),
	}
}

func (r rowJSON) row() measure.Row {
	return measure.Row{
		Quantity: r.Quantity, At: r.At, To: r.To, Value: r.Value, Unit: r.Unit, Budget: r.Budget,
		Margin: r.Margin, Verdict: r.Verdict, Note: r.Note, Kind: r.Kind,
	}
}
