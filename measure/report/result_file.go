package report

import (
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/measure"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// The shape of result.json, described for others by result.schema.json. The result's own types name their members; here
// stands what the file has beside them. Names carry units; a number that is not known is null, a point is [x, y, z] in the
// patient or [u, v] in a section.

// resultFormat is the version of result.json. Additions keep it; a changed name or meaning does not.
const resultFormat = 1

type resultFile struct {
	Format     int                  `json:"format"`
	Content    string               `json:"content_sha256"`
	Files      map[string]string    `json:"files,omitempty"`
	Case       string               `json:"case"`
	Jaw        measure.Jaw          `json:"jaw"`
	Synthetic  bool                 `json:"synthetic"`
	Cautions   []measure.Caution    `json:"cautions"`
	Provenance provenanceFile       `json:"provenance"`
	Scan       scanFile             `json:"scan"`
	Convention conventionFile       `json:"convention"`
	Margins    []measure.NamedRule  `json:"margins"`
	Structures []measure.Structure  `json:"structures"`
	Sites      []measure.SiteResult `json:"sites"`
	Arch       measure.ArchResult   `json:"arch"`
}

type provenanceFile struct {
	Tool    string            `json:"tool"`
	Date    string            `json:"date,omitempty"`
	Options map[string]string `json:"options,omitempty"`
	Plan    planFile          `json:"plan"`
	Source  *sourceFile       `json:"source,omitempty"`
}

type planFile struct {
	SHA256 string `json:"sha256"`
}

// sourceFile holds replaced UIDs only: those of a series lead to the patient; so does no pseudonym without its key.
type sourceFile struct {
	Study     string   `json:"study_uid,omitempty"`
	Series    string   `json:"series_uid,omitempty"`
	Frame     string   `json:"frame_of_reference_uid,omitempty"`
	Class     string   `json:"class_uid,omitempty"`
	Images    []string `json:"image_uids,omitempty"`
	Pseudonym string   `json:"pseudonym,omitempty"`
}

type scanFile struct {
	measure.Scan
	ScaleHalfWidth float64 `json:"scale_half_width"`
}

type conventionFile struct {
	Occlusal r3.Vec `json:"occlusal"`
	From     string `json:"occlusal_from"`
	Note     string `json:"orientation_note,omitempty"`
}

func fileOf(r *measure.Result, p Provenance) resultFile {
	return resultFile{
		Format: resultFormat, Content: noContent, Files: p.Files, Case: r.Case, Jaw: r.Jaw, Synthetic: r.Synthetic,
		Cautions: cautions(r), Provenance: provenanceOf(r, p), Scan: scanFile{r.Scan, r.ScaleHalfWidth},
		Convention: conventionFile{r.Occlusal, r.OcclusalFrom, r.OrientationNote},
		Margins:    append([]measure.NamedRule{}, r.Margins...), Structures: append([]measure.Structure{}, r.Structures...),
		Sites: append([]measure.SiteResult{}, r.Sites...), Arch: r.Arch,
	}
}

func (f resultFile) result() *measure.Result {
	return &measure.Result{
		Case: f.Case, Jaw: f.Jaw, Synthetic: f.Synthetic, Cautions: specific(f.Cautions),
		Occlusal: f.Convention.Occlusal, OcclusalFrom: f.Convention.From, OrientationNote: f.Convention.Note,
		Scan: f.Scan.Scan, ScaleHalfWidth: f.Scan.ScaleHalfWidth, Plan: measure.PlanFacts{SHA256: f.Provenance.Plan.SHA256},
		Margins: f.Margins, Structures: f.Structures, Sites: f.Sites, Arch: f.Arch,
	}
}

// cautions are the sentences that go with every number of the result.
func cautions(r *measure.Result) []measure.Caution {
	out := slices.Clone(generalCautions)
	if r.Synthetic {
		out = append(out, measure.Caution{Code: codeSynthetic, Text: syntheticCaution, Severity: measure.SeverityNote})
	}
	return append(out, r.Cautions...)
}

// codeSynthetic is the code of the caution that a synthetic volume carries.
const codeSynthetic = "synthetic"

// generalCautions go with every result.
var generalCautions = []measure.Caution{
	{Code: "reviewer", Text: shortCaution, Severity: measure.SeverityNote},
	{Code: "not_the_patient", Text: passCaution, Severity: measure.SeverityNote},
	{Code: "grey_values", Text: greyCaution, Severity: measure.SeverityNote},
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

func provenanceOf(r *measure.Result, p Provenance) provenanceFile {
	out := provenanceFile{Tool: p.Tool, Options: p.Options, Plan: planFile{r.Plan.SHA256}}
	if src := p.Source.Deidentified(); src.Series != "" || src.Study != "" || len(src.Images) > 0 || src.Pseudonym != "" {
		out.Source = &sourceFile{src.Study, src.Series, src.FrameOfReference, src.Class, src.Images, src.Pseudonym}
	}
	if !p.Date.IsZero() {
		out.Date = p.Date.UTC().Format(time.RFC3339)
	}
	return out
}

func (p provenanceFile) provenance() (Provenance, error) {
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

// rowFile and findingFile say a budget's uncertainty beside it: readers of the file need not add up its terms.
type rowFile struct {
	Sites    string             `json:"sites,omitempty"`
	Quantity quantity.Name      `json:"quantity"`
	At       *float64           `json:"at_mm,omitempty"`
	To       string             `json:"to,omitempty"`
	Value    *float64           `json:"value"`
	Unit     string             `json:"unit"`
	Std      *float64           `json:"standard_uncertainty,omitempty"`
	U        *float64           `json:"expanded_uncertainty,omitempty"`
	Budget   uncertainty.Budget `json:"budget,omitempty"`
	Margin   *float64           `json:"margin_mm,omitempty"`
	Verdict  measure.Verdict    `json:"verdict,omitempty"`
	Note     string             `json:"note,omitempty"`
	Kind     measure.Kind       `json:"kind,omitempty"`
}

type findingFile struct {
	To       string             `json:"to"`
	Kind     measure.Kind       `json:"kind"`
	Distance float64            `json:"distance_mm"`
	Std      *float64           `json:"standard_uncertainty_mm"`
	U        *float64           `json:"expanded_uncertainty_mm"`
	Budget   uncertainty.Budget `json:"budget,omitempty"`
	Near     [2]r3.Vec          `json:"nearest_points_mm"`
	Margin   float64            `json:"margin_mm"`
	Source   string             `json:"margin_source,omitempty"`
	Verdict  measure.Verdict    `json:"verdict"`
	Reason   string             `json:"reason,omitempty"`
}

func rowOf(r measure.ArchRow) rowFile {
	std, U := spread(r.Budget)
	return rowFile{r.Sites, r.Quantity, r.At, r.To, r.Value, r.Unit, std, U, r.Budget, r.Margin, r.Verdict, r.Note, r.Kind}
}

func (r rowFile) row() measure.ArchRow {
	return measure.ArchRow{Sites: r.Sites, Row: measure.Row{
		Quantity: r.Quantity, At: r.At, To: r.To, Value: r.Value, Unit: r.Unit, Budget: r.Budget,
		Margin: r.Margin, Verdict: r.Verdict, Note: r.Note, Kind: r.Kind,
	}}
}

func findingOf(f measure.Finding) findingFile {
	std, U := spread(f.Distance.Budget)
	return findingFile{f.To, f.Kind, f.Distance.Value, std, U, f.Distance.Budget, f.Near, f.Margin, f.Source, f.Verdict, f.Reason}
}

func (f findingFile) finding() measure.Finding {
	return measure.Finding{
		To: f.To, Kind: f.Kind, Distance: uncertainty.Length{Value: f.Distance, Budget: f.Budget},
		Near: f.Near, Margin: f.Margin, Source: f.Source, Verdict: f.Verdict, Reason: f.Reason,
	}
}

// spread returns the standard and the expanded uncertainty of a budget, in its unit; an empty budget has neither.
func spread(b uncertainty.Budget) (std, U *float64) {
	if len(b) == 0 {
		return nil, nil
	}
	x, y := b.Std(), b.U()
	return &x, &y
}

// marshalers and unmarshalers say how types are written that cannot say it themselves.
var marshalers = json.JoinMarshalers(
	json.MarshalToFunc(func(to *jsontext.Encoder, x float64) error {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return to.WriteToken(jsontext.Null)
		}
		return json.SkipFunc
	}),
	json.MarshalToFunc(func(to *jsontext.Encoder, v r3.Vec) error { return json.MarshalEncode(to, [3]float64{v.X, v.Y, v.Z}) }),
	json.MarshalToFunc(func(to *jsontext.Encoder, p reformat.UV) error { return json.MarshalEncode(to, [2]float64{p.U, p.V}) }),
	json.MarshalToFunc(func(to *jsontext.Encoder, r measure.ArchRow) error { return json.MarshalEncode(to, rowOf(r)) }),
	json.MarshalToFunc(func(to *jsontext.Encoder, r measure.Row) error {
		return json.MarshalEncode(to, rowOf(measure.ArchRow{Row: r}))
	}),
	json.MarshalToFunc(func(to *jsontext.Encoder, f measure.Finding) error { return json.MarshalEncode(to, findingOf(f)) }),
)

var unmarshalers = json.JoinUnmarshalers(
	json.UnmarshalFromFunc(func(from *jsontext.Decoder, x *float64) error {
		if from.PeekKind() != 'n' {
			return json.SkipFunc
		}
		*x = math.NaN()
		return from.SkipValue()
	}),
	unmarshaled(func(v [3]float64) r3.Vec { return r3.Vec{X: v[0], Y: v[1], Z: v[2]} }),
	unmarshaled(func(p [2]float64) reformat.UV { return reformat.UV{U: p[0], V: p[1]} }),
	unmarshaled(rowFile.row),
	unmarshaled(func(r rowFile) measure.Row { return r.row().Row }),
	unmarshaled(findingFile.finding),
)

// unmarshaled reads a B as the A that it is written as.
func unmarshaled[A, B any](as func(A) B) *json.Unmarshalers {
	return json.UnmarshalFromFunc(func(from *jsontext.Decoder, to *B) error {
		var a A
		if err := json.UnmarshalDecode(from, &a); err != nil {
			return err
		}
		*to = as(a)
		return nil
	})
}
