package align

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/cells"
	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

// setJSON, fitJSON and rowJSON are what positions.json shows.
type setJSON struct {
	Frame     string         `json:"frame"`
	Kind      string         `json:"kind"` // planned or recorded
	Source    string         `json:"source"`
	SHA256    string         `json:"sha256,omitempty"`
	Positions []positionJSON `json:"positions"`
}

type positionJSON struct {
	Implant  string     `json:"implant"`
	Platform [3]float64 `json:"platform_mm"`
	Axis     [3]float64 `json:"axis"`
	U        *float64   `json:"u_mm"`  // null: not known
	UAxis    *float64   `json:"u_deg"` // null: not known
}

type fitJSON struct {
	Name      string     `json:"fit"`
	Transform *Transform `json:"transform"` // null: none, and reason says why
	RMS       *float64   `json:"rms_mm"`
	Largest   string     `json:"largest_gap_at,omitempty"`
	End       string     `json:"end,omitempty"`
	Towards   string     `json:"turn_from,omitempty"`
	Left      string     `json:"left_out,omitempty"`
	Reason    string     `json:"reason,omitempty"`
}

type rowJSON struct {
	Implant  string             `json:"implant"`
	Quantity Measure            `json:"quantity"`
	Fit      string             `json:"fit,omitempty"`
	Value    *float64           `json:"value"`
	Unit     string             `json:"unit"`
	U        *float64           `json:"U"` // null: not known
	Budget   uncertainty.Budget `json:"budget,omitempty"`
	Limit    *float64           `json:"limit,omitempty"`
	Verdict  string             `json:"verdict,omitempty"`
	Note     string             `json:"note,omitempty"`
}

// known returns x, or nil for a number that is none.
func known(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// WriteJSON writes positions.json: both sets in their own frames, the transforms, every number with its budget.
func (c *Comparison) WriteJSON(w io.Writer, tool string) error {
	out := struct {
		Format   int       `json:"format"`
		Kind     string    `json:"kind"`
		Tool     string    `json:"tool"`
		First    setJSON   `json:"first"`
		Second   setJSON   `json:"second"`
		Fits     []fitJSON `json:"fits"`
		Rows     []rowJSON `json:"measurements"`
		Hidden   float64   `json:"share_of_error_that_residuals_show"`
		Cautions []string  `json:"cautions"`
		Limits   []any     `json:"limits"`
	}{Format: 1, Kind: "positions", Tool: tool, First: c.First.view(), Second: c.Second.view(), Hidden: Hidden(len(c.Names)), Cautions: append([]string{}, c.Cautions...), Limits: []any{}}
	for _, l := range c.Limits {
		out.Limits = append(out.Limits, map[string]any{"quantity": l.Of, "limit": l.Most, "unit": l.Of.unit(), "source": l.Source})
	}
	for i := range c.Fits {
		out.Fits = append(out.Fits, c.fitView(&c.Fits[i]))
	}
	for _, r := range c.Rows() {
		row := rowJSON{Implant: r.Implant, Quantity: r.Measure, Fit: r.Fit, Value: r.Value, Unit: r.Unit(), Budget: r.Budget, Limit: r.Limit, Verdict: r.Verdict, Note: r.Note}
		if r.Budget != nil {
			row.U = known(r.Budget.U())
		}
		out.Rows = append(out.Rows, row)
	}
	return indented(w, out)
}

func indented(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

func (s *Set) view() setJSON {
	out := setJSON{Frame: s.Frame, Kind: s.kind(), Source: s.Source, SHA256: s.SHA256, Positions: []positionJSON{}}
	for _, p := range s.Positions {
		out.Positions = append(out.Positions, positionJSON{p.Name, coordinates(p.At), coordinates(p.Axis), known(p.U), known(p.UAxis)})
	}
	return out
}

func (s *Set) kind() string {
	if s.Planned {
		return "planned"
	}
	return "recorded"
}

func (c *Comparison) fitView(f *PositionFit) fitJSON {
	out := fitJSON{Name: f.Name, Reason: f.Reason}
	if f.Left >= 0 {
		out.Left = c.Names[f.Left]
	}
	if f.Reason != "" {
		return out
	}
	out.Transform, out.RMS, out.Largest = &f.Transform, known(f.RMS), c.Names[f.Largest]
	if f.Name == FitOneEnd {
		out.End, out.Towards = c.Names[f.End], c.Names[f.Next]
	}
	return out
}

// Export is the positions of both sets in the second's frame: what goes to those who build on the implants.
type Export struct {
	Recorded, Planned Set       // both in Recorded's frame
	Transform         Transform // that brought the planned ones there; its Spread is nil where not known
	Fit               string
}

// Export returns both sets in the second's frame, the first brought there by the best fit, or by the one-end fit where
// there is no best; with neither only the recorded ones.
func (c *Comparison) Export() Export {
	e := Export{Recorded: c.Second}
	for i := range c.Fits {
		f := &c.Fits[i]
		if f.Reason != "" || f.Left >= 0 {
			continue
		}
		e.Transform, e.Fit = f.Transform, f.Name
		e.Planned = Set{Frame: c.Second.Frame, Source: c.First.kind() + ", brought here by the fit " + f.Name, Planned: c.First.Planned, SHA256: c.First.SHA256}
		for _, p := range c.First.Positions {
			p.At, p.Axis = f.Transform.Apply(p.At), f.Transform.Turn(p.Axis)
			e.Planned.Positions = append(e.Planned.Positions, p)
		}
		break
	}
	return e
}

// WriteCSV writes the set as [ReadPositions] reads it.
func (s *Set) WriteCSV(w io.Writer) error {
	rows := [][]string{append(append([]string{}, positionColumns...), "u_mm", "u_deg", "source")}
	for _, p := range s.Positions {
		row := []string{cells.Text(p.Name)}
		for _, v := range []r3.Vec{p.At, p.Axis} {
			for _, x := range coordinates(v) {
				row = append(row, fmt.Sprintf("%.6f", x+0)) // 1e-6: an axis to 0.1″, and no −0
			}
		}
		rows = append(rows, append(row, cells.Number(p.U), cells.Number(p.UAxis), cells.Text(s.Source)))
	}
	return cells.Write(w, rows)
}

// WriteFrames writes frames.json: which frame every exported file is in, and how the planned positions came there.
func (e *Export) WriteFrames(w io.Writer, files map[string]string) error {
	var t *Transform
	if e.Fit != "" {
		t = &e.Transform
	}
	return indented(w, map[string]any{"format": 1, "kind": "positions export", "frame": e.Recorded.Frame, "unit": "mm", "files": files,
		"fit": e.Fit, "transform": t, "recorded": e.Recorded.view(), "planned": e.Planned.view()})
}

// Cylinders returns each position as a cylinder from its platform toward its apex, radius and length in mm: to look at,
// not an implant's form. It returns [solid.ErrBody] for numbers that are no cylinder.
func (s *Set) Cylinders(radius, long float64) (*solid.Sheet, error) {
	if !(radius > 0 && long > 0) || math.IsInf(radius+long, 0) {
		return nil, fmt.Errorf("%w: a cylinder of radius %g mm and length %g mm", solid.ErrBody, radius, long)
	}
	const around = 48 // of radius 2 mm: corners on it, edges 4 µm inside
	var points []r3.Vec
	var facets [][3]int
	for _, p := range s.Positions {
		u, v := frameOf(p.Axis)
		first := len(points)
		points = append(points, p.At, r3.Add(p.At, r3.Scale(long, p.Axis)))
		for m := range around {
			a := 2 * math.Pi * float64(m) / around
			out := r3.Add(r3.Scale(radius*math.Cos(a), u), r3.Scale(radius*math.Sin(a), v))
			points = append(points, r3.Add(p.At, out), r3.Add(points[first+1], out))
		}
		for m := range around {
			a, b := first+2+2*m, first+2+2*((m+1)%around)
			facets = append(facets, [3]int{first, b, a}, [3]int{first + 1, a + 1, b + 1}, [3]int{a, b, a + 1}, [3]int{b, b + 1, a + 1})
		}
	}
	return solid.NewSheet(points, facets)
}
