package report

import (
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// An invented mandible: four sites on a parabola, one uncertain, one not held, one whose canal was
// not marked, one outside the field. Its figures are drawn here and measured by nobody.

func pointer(x float64) *float64 { return &x }

func budget(edge, place float64) uncertainty.Budget {
	return uncertainty.Budget{
		{Name: "edge noise", Std: edge, Sensitivity: 1},
		{Name: "voxel and blur", Std: 0.03, Sensitivity: 1},
		{Name: "edge rule", Std: 0.05, Sensitivity: 1},
		{Name: "section placement", Std: place, Sensitivity: 1},
		{Name: "scale", Std: 0.005 / math.Sqrt(3), Sensitivity: 8},
	}
}

// sampleFrame is the section's place at x mm on the arch y = x²/40 − 40.
func sampleFrame(x float64) reformat.Frame {
	t := r3.Unit(r3.Vec{X: 1, Y: x / 20})
	return reformat.Frame{
		Arc:    40 + x*math.Sqrt(1+x*x/1600),
		Origin: r3.Vec{X: x, Y: x*x/40 - 40, Z: -2},
		U:      r3.Vec{X: t.Y, Y: -t.X}, V: r3.Vec{Z: 1}, T: t,
	}
}

// half returns half the ridge's width (mm) at v mm above the base, of a ridge height mm high.
func half(v, height float64) float64 {
	if v <= 0 || v >= height {
		return 0
	}
	base := 5.4 - 2.2*math.Pow(v/height, 2)
	round := math.Min(1, math.Sqrt(1-math.Pow(1-math.Min(v, height-v)/3.4, 2)))
	if math.Min(v, height-v) >= 3.4 {
		round = 1
	}
	return base * round
}

// middle is the lean of the ridge: where its middle lies at v, mm.
func middle(v float64) float64 { return -0.12*(v-14) - 1.3*math.Exp(-math.Pow((v-9)/4, 2)) }

const sampleHeight = 27.0

func sampleOutline() []reformat.UV {
	var left, right []reformat.UV
	for i := 0; i <= 90; i++ {
		v := sampleHeight * (1 - math.Cos(math.Pi*float64(i)/90)) / 2
		h, m := half(v, sampleHeight), middle(v)
		right = append(right, reformat.UV{U: m + h, V: v - 18})
		left = append(left, reformat.UV{U: m - h, V: v - 18})
	}
	for i := len(left) - 2; i > 0; i-- {
		right = append(right, left[i])
	}
	return right
}

var sampleCanal = reformat.UV{U: -0.6, V: -8.5}

// samplePicture draws grey values for the outline: cortex, marrow, a canal, soft tissue and air.
func samplePicture() Picture {
	p := Picture{First: reformat.UV{U: -14.9, V: 14.9}, Step: 0.2, Width: 150, Height: 190}
	for row := range p.Height {
		for col := range p.Width {
			u := p.First.U + float64(col)*p.Step
			v := p.First.V - float64(row)*p.Step
			p.Grey = append(p.Grey, float32(sampleGrey(u, v, row, col)))
		}
	}
	return p
}

func sampleGrey(u, v float64, row, col int) float64 {
	if v < -20.5 {
		return math.NaN()
	}
	wobble := 60 * math.Sin(float64(row*37%101)+float64(col*53%97))
	in := math.Min(half(v+18, sampleHeight)-math.Abs(u-middle(v+18)), math.Min(v+18, sampleHeight-18-v)*0.8)
	canal := math.Hypot(u-sampleCanal.U, v-sampleCanal.V)
	soft := func(d, w float64) float64 { return 1 / (1 + math.Exp(-d/w)) }
	grey := -900*soft(v-11.5, 0.2) + 60
	grey += 1500*soft(in, 0.12) - 1050*soft(in-1.8, 0.25)
	grey += (180*math.Sin(u*2.3)*math.Cos(v*1.9) + 90*math.Sin(u*5+v*4)) * soft(in-2, 0.3)
	if in > 1 {
		grey += 420*soft(2.1-canal, 0.2) - 700*soft(1.45-canal, 0.2)
	}
	return grey + wobble
}

func chordAt(depth float64, thin bool) measure.Chord {
	v := sampleHeight - 18 - depth
	h, m := half(v+18, sampleHeight), middle(v+18)
	c := measure.Chord{
		Depth: depth, Buccal: reformat.UV{U: m + h, V: v}, Lingual: reformat.UV{U: m - h, V: v},
		LingualInner: &reformat.UV{U: m - h + 1.8, V: v},
	}
	if !thin {
		c.BuccalInner = &reformat.UV{U: m + h - 1.2, V: v}
	}
	return c
}

var (
	sampleSides = map[byte]measure.Side{'3': measure.Left, '4': measure.Right}
	sampleNames = map[string]string{
		"36": "36, lower left first molar", "35": "35, lower left second premolar",
		"46": "46, lower right first molar", "47": "47, lower right second molar",
	}
)

func measuredSite(id string, x float64) measure.SiteResult {
	s := measure.SiteResult{
		ID: id, Tooth: id, Side: sampleSides[id[0]], Name: sampleNames[id], Frame: sampleFrame(x), Outline: sampleOutline(), AxisFrom: measure.AxisRidge,
		Crest: reformat.UV{U: middle(sampleHeight), V: 9}, Axis: reformat.UV{U: 0.1195, V: -0.99283}, HeightTo: measure.ToCanal,
	}
	end := 16.02
	s.HeightEnd = reformat.UV{U: s.Crest.U + end*s.Axis.U, V: s.Crest.V + end*s.Axis.V}
	s.Rows = append(s.Rows, measure.Row{Quantity: "ridge_height", To: "canal", Value: pointer(end), Unit: "mm", Budget: budget(0.11, 0.1)})
	for _, d := range []float64{1, 3, 5, 7, 10} {
		c := chordAt(d, d < 2)
		s.Chords = append(s.Chords, c)
		s.Rows = append(s.Rows,
			measure.Row{Quantity: "ridge_width", At: pointer(d), Value: pointer(c.Buccal.U - c.Lingual.U), Unit: "mm", Budget: budget(0.05, 0.04)},
			plateRow("buccal_plate", d, 1.2, d < 2), plateRow("lingual_plate", d, 1.8, false))
	}
	s.Rows = append(s.Rows,
		measure.Row{Quantity: "ridge_tilt", Value: pointer(6.864), Unit: "deg", Budget: uncertainty.Budget{{Name: "axis fit", Std: 0.6}}},
		measure.Row{Quantity: "lingual_undercut", At: pointer(17.5), Value: pointer(1.94), Unit: "mm", Budget: budget(0.08, 0.06)},
		measure.Row{Quantity: "usable_crest_depth", Value: pointer(1.31), Unit: "mm", Budget: budget(0.1, 0.05)},
		measure.Row{Quantity: "usable_height", To: "canal", Value: pointer(14.71), Unit: "mm", Budget: budget(0.12, 0.1)},
		measure.Row{Quantity: "grey_mean", Value: pointer(642.25), Unit: "1"},
		measure.Row{Quantity: "grey_sd", Value: pointer(212.5), Unit: "1"})
	return s
}

func plateRow(name quantity.Name, depth, t float64, thin bool) measure.Row {
	row := measure.Row{Quantity: name, At: pointer(depth), Unit: "mm"}
	if thin {
		row.Note = "thinner than the scan resolves (about 0.5 mm)"
		return row
	}
	row.Value, row.Budget = pointer(t), budget(0.12, 0.05)
	return row
}

// withImplant gives the site an implant and a clearance of d mm to the canal with verdict v.
func withImplant(s measure.SiteResult, length, d float64, v measure.Verdict) measure.SiteResult {
	platform, axis := s.Frame.Patient(s.Crest), s.Frame.Direction(s.Axis)
	s.Implant = &measure.Implant{Platform: platform, Axis: axis, Diameter: 4, ApexDiameter: 3.4, Length: length}
	near := r3.Add(platform, r3.Scale(length, axis))
	on := s.Frame.Patient(reformat.UV{U: sampleCanal.U + 0.3, V: sampleCanal.V + 1.4})
	length3 := uncertainty.Length{Value: d, Budget: append(budget(0.1, 0.1), uncertainty.Term{Name: "marking", Std: 0.3, Sensitivity: 1})}
	s.Findings = []measure.Finding{{
		To: "left canal", Kind: "canal", Distance: length3, Near: [2]r3.Vec{near, on}, Margin: 2,
		Source: "Fokas et al. 2018; Tahmaseb et al. 2018", Verdict: v,
	}}
	s.Rows = append(s.Rows, measure.Row{
		Quantity: "clearance", To: "left canal", Kind: "canal", Value: pointer(d), Unit: "mm", Budget: length3.Budget, Margin: pointer(2), Verdict: v,
	}, measure.Row{
		Quantity: "buccal_bone", Value: pointer(1.62), Unit: "mm", Budget: budget(0.06, 0.05), Margin: pointer(1.5), Verdict: measure.Uncertain,
	})
	s.Verdict = v
	return s
}

// sampleResult returns the invented case.
func sampleResult() *measure.Result {
	doubtful := withImplant(measuredSite("36", 22), 11, 3.93, measure.Uncertain)
	doubtful.UsableDepth = pointer(1.31)
	for i, d := range []float64{3.5, 4, 4.5} {
		doubtful.SizesTried = append(doubtful.SizesTried, measure.SizeResult{
			Size: measure.Size{Diameter: d, Length: 10}, Pose: measure.Pose{Lateral: 0.2, Depth: 0.5, InSection: 2},
			Implant: *doubtful.Implant, Reserve: 1.1 - 0.6*float64(i), U: 0.4, Limit: "buccal_plate",
			Verdict: []measure.Verdict{measure.Held, measure.Held, measure.Uncertain}[i], Findings: doubtful.Findings,
		})
	}
	tooNear := withImplant(measuredSite("35", 17), 15.5, 0.21, measure.NotHeld)
	open := measuredSite("46", -22)
	open.HeightTo, open.Verdict, open.HeightEnd = "", measure.NotAssessed, reformat.UV{U: math.NaN(), V: math.NaN()}
	open.Rows[0] = measure.Row{Quantity: "ridge_height", Unit: "mm", Note: "no limit: no canal marked on this side and none asked for"}
	open.Rows = append(open.Rows, measure.Row{Quantity: "clearance", To: "canal", Unit: "mm", Margin: pointer(2), Verdict: measure.NotAssessed, Note: "canal not marked on this side"})
	open.Note = "canal not marked on this side: no clearance is reported"
	open.Notes = []measure.Caution{{Code: "height", Severity: measure.SeverityCaution, Text: open.Note, Site: open.ID}}
	failed := measure.SiteResult{ID: "47", Tooth: "47", Side: measure.Right, Name: sampleNames["47"], Frame: sampleFrame(-27), Verdict: measure.NotAssessed, Err: "section at 3.1 mm of the arch lies outside the field of the scan"}
	metal := measure.Caution{Code: "metal", Text: "metal artefact suspected in 3 of 300 slices, 9 mm from site 46", Severity: measure.SeverityCaution}
	r := &measure.Result{
		Cautions: []measure.Caution{metal},
		Case:     "pine-042", Jaw: measure.Mandible, Synthetic: true,
		Occlusal: r3.Vec{Z: 1}, OcclusalFrom: "default for the mandible", OrientationNote: "occlusal plane set horizontal by the operator",
		Sites: []measure.SiteResult{failed, open, tooNear, doubtful}, ScaleHalfWidth: 0.005,
		Scan: measure.Scan{
			FrameHash:  "a1b2c3",
			SeriesHash: "3f9a2c6e0b7d41588e0c7f21d9b06a5c4e3f2a1b0c9d8e7f6a5b4c3d2e1f0a9b", Size: [3]int{400, 400, 300},
			Spacing: [3]float64{0.25, 0.25, 0.25}, Encoding: "native, little endian", Orientation: "rows to patient left, columns to posterior, slices to the head",
			Verdict: "fit with cautions", Cautions: []measure.Caution{metal}, Blur: 0.31, Noise: math.NaN(),
		},
		Plan: measure.PlanFacts{SHA256: "b1946ac92492d2347c6235b4d2611184b1946ac92492d2347c6235b4d2611184"},
	}
	r.Structures = []measure.Structure{
		{Name: "left canal", Kind: "canal", SD: 0.3, Path: canalPath(), Radii: []float64{1.5, 1.5, 1.4, 1.4, 1.3}},
		{Name: "mental foramen", Kind: "mental_foramen", SD: 0.5, Path: []r3.Vec{{X: 14, Y: -39.5, Z: -8}}, Radii: []float64{1.8}, Margin: pointer(2.5)},
	}
	r.Margins = []measure.NamedRule{
		{Name: "canal", Rule: measure.Rule{Margin: 2, Source: "Fokas et al. 2018 (systematic review); Tahmaseb et al. 2018"}},
		{Name: "buccal_plate", Rule: measure.Rule{Margin: 1.5, Source: "Juodzbalys & Kubilius 2013"}},
		{Name: "implant", Rule: measure.Rule{Margin: 2.5, Source: "the plan: centre protocol"}, Changed: true},
	}
	for x := -30.0; x <= 30; x += 1.5 {
		r.Arch.Curve = append(r.Arch.Curve, sampleFrame(x).Origin)
	}
	r.Arch.Length = 74.6
	r.Arch.Rows = []measure.ArchRow{
		{Sites: "35|36", Row: measure.Row{Quantity: "clearance", To: "36", Value: pointer(2.91), Unit: "mm", Budget: budget(0.1, 0.1), Margin: pointer(2.5), Verdict: measure.Uncertain}},
		{Sites: "35|36", Row: measure.Row{Quantity: "implant_angle", Value: pointer(7.7), Unit: "deg"}},
		{Sites: "arch", Row: measure.Row{Quantity: "ap_spread", Value: pointer(4.35), Unit: "mm", Note: "information, not a limit"}},
	}
	return r
}

func canalPath() []r3.Vec {
	var path []r3.Vec
	for _, x := range []float64{12, 16, 20, 24, 28} {
		path = append(path, sampleFrame(x).Patient(sampleCanal))
	}
	return path
}

func sampleCase() Case {
	r := sampleResult()
	return Case{
		Result:     r,
		Sections:   map[string]Picture{"35": samplePicture(), "36": samplePicture(), "46": samplePicture()},
		Provenance: Provenance{Tool: "ridgerule test", Date: time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC), Options: map[string]string{"spacing": "0.2"}},
	}
}
