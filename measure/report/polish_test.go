package report

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/measure"
)

// A path that runs past the end of the curve ends on the picture at the curve's end: its points past it have
// their foot on the end point, and would make one upright line.
func TestPathPastTheCurveIsCut(t *testing.T) {
	r := &measure.Result{Occlusal: r3.Vec{Z: 1}}
	for i := range 38 { // 0.1·37 and 3.7 differ in the last bit
		r.Arch.Curve = append(r.Arch.Curve, r3.Vec{X: 0.1 * float64(i)})
	}
	r.Arch.Length = 3.7
	lines := alongArch(r, []r3.Vec{{X: -2, Z: 5}, {X: -1, Z: 4}, {X: 1, Z: 1}, {X: 2, Z: 1}, {X: 3, Z: 2}, {X: 5, Z: 4}, {X: 6, Z: 9}})
	require.Len(t, lines, 1)
	require.Len(t, lines[0], 3)
	for i, x := range []float64{1, 2, 3} {
		require.InDelta(t, x, lines[0][i].X, 1e-9)
	}
}

// What stands at a picture's right edge ends on the picture, and directions stand apart from the scale bar.
func TestLabelsKeepTheirPlace(t *testing.T) {
	c := sampleCase()
	p := samplePicture()
	c.Panoramic = &p
	for i := range c.Result.Sites {
		s := &c.Result.Sites[i]
		sheet := sectionSheet(c.Result, said(c.Result, s), c.section(s.ID), windowOf(c.pictures()), wholeWidth)
		var texts collector
		sheet.draw(&texts)
		var bar, down float64
		for _, l := range texts.labels {
			switch l.Text {
			case "apical":
				down = l.At.Y
			case "10 mm":
				bar = l.At.Y - 3.6 // the bar's upper edge
			}
		}
		require.Greater(t, bar, down+0.5, "site %s: the bar begins below the letters, tails included", s.ID)
	}
	for _, d := range viewed(t, c).Drawings() {
		if d.Name == "panoramic" {
			require.Equal(t, 4.0, d.sheet.Edge)
		}
	}
}

// collector is a pen that notes labels and lines, and how many lines stand under each label.
type collector struct {
	labels []label
	lines  []stroke
	under  []int
}

func (c *collector) grey(picture)  {}
func (c *collector) line(l stroke) { c.lines = append(c.lines, l) }
func (c *collector) write(l label) {
	c.labels, c.under = append(c.labels, l), append(c.under, len(c.lines))
}

// strikes reports whether one of the lines runs through the label.
func strikes(t label, lines []stroke) bool {
	for _, l := range lines {
		for i := 1; i < len(l.Points); i++ {
			for k := range 101 {
				if boxOf(t).holds(between(l.Points[i-1], l.Points[i], float64(k)/100)) {
					return true
				}
			}
		}
	}
	return false
}

// A size's number is the one that decided; what is missing everywhere is said once.
func TestSizesSayWhatDecided(t *testing.T) {
	tooNear := measure.SizeResult{Size: measure.Size{Diameter: 4, Length: 10}, Reserve: -0.5, U: 0.2, Limit: "buccal_plate", Verdict: measure.NotHeld, Reason: "no canal"}
	open := measure.SizeResult{Size: measure.Size{Diameter: 4, Length: 8}, Reserve: 0.5, U: 0.2, Limit: "root", Verdict: measure.NotAssessed, Reason: "no canal"}
	bare := measure.SizeResult{Size: measure.Size{Diameter: 4, Length: 6}, Reserve: math.NaN(), U: math.NaN(), Verdict: measure.NotAssessed, Reason: "no bone"}
	sizes, note := sizesOf([]measure.SizeResult{tooNear, open, bare})
	require.Empty(t, note)
	require.Equal(t, "buccal plate; besides: no canal", sizes[0].Limit)
	require.Equal(t, "−0.50 ± 0.20", sizes[0].Reserve)
	require.Equal(t, "no canal; of what is known, least at root", sizes[1].Limit)
	require.Equal(t, "no bone", sizes[2].Limit)
	sizes, note = sizesOf([]measure.SizeResult{tooNear, open})
	require.Equal(t, "no canal", note)
	require.Equal(t, "buccal plate", sizes[0].Limit)
}

func TestResultKeepsReplacedUIDsOnly(t *testing.T) {
	src := sampleSource()
	src.Class = "1.2.840.10008.5.1.4.1.1.2"
	src.Identity = &dicomio.Identity{PatientName: "Invented^Name"}
	var out bytes.Buffer
	require.NoError(t, WriteJSON(&out, sampleResult(), Provenance{Tool: "test", Source: src}))
	require.NotContains(t, out.String(), "Invented")
	require.NotContains(t, out.String(), "1.2.826.0.1.3680043.9.9999")
	text := out.String()
	_, p, err := ReadJSON(strings.NewReader(text))
	require.NoError(t, err)
	require.Equal(t, src.Deidentified(), p.Source)
	out.Reset()
	require.NoError(t, WriteJSON(&out, sampleResult(), p))
	require.Equal(t, text, out.String(), "written again, the same")
}

func TestExtrasAreWhatIsAsked(t *testing.T) {
	v := viewed(t, sampleCase())
	standard, err := v.Files(Extra{})
	require.NoError(t, err)
	files, err := v.Files(Extra{PDF: Letter, DaySheet: true, DICOM: &dicomio.Source{}})
	require.NoError(t, err)
	files = files[len(standard):]
	var names []string
	for _, f := range files {
		names = append(names, f.Name)
	}
	require.Equal(t, []string{"report.pdf", "day-sheet.pdf", "dicom/measurements.dcm"}, names[:3])
	require.Contains(t, names, "dicom/sections/36.dcm")
	require.Contains(t, string(files[1].Data), "/MediaBox [0 0 612.00 792.00]", "the day sheet is on the report's paper")
}
