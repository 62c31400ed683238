package trace

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func TestWriteYAML(t *testing.T) {
	p := &Path{
		Points: []r3.Vec{{X: 1, Y: 2, Z: 3}, {X: 2, Y: 2, Z: 3}}, Radii: []float64{1.5, 1.6},
		SD: []float64{0.03, 0.04}, RadiusSD: []float64{0.04, 0.03}, Length: 1, EndSD: 0.5,
		Confidence: []float64{0.25, 0.6}, Unlikely: []string{"it turns back"},
		Low: []Span{{From: 0, To: 1, Confidence: 0.25}},
	}
	var b bytes.Buffer
	if err := p.WriteYAML(&b, "right canal: 1", "canal"); err != nil {
		t.Fatal(err)
	}
	want := `# traced, to be confirmed: 1.0 mm of canal
# its ends lie where the marks are: along the canal they are no surer than 0.5 mm (1 sd)
# unlikely: it turns back
# low confidence (down to 0.25) from 0.0 to 1.0 mm along the path: look there first
- name: "right canal: 1"
  kind: canal
  path:
    - [1.000, 2.000, 3.000]
    - [2.000, 2.000, 3.000]
  radii_mm: [1.500, 1.600]
  sd_mm: 0.050
  traced: {confirmed: false, confidence: 0.42}
`
	if b.String() != want {
		t.Errorf("wrote\n%s\nwant\n%s", b.String(), want)
	}
	if err := new(Path).WriteYAML(&b, "x", "canal"); err == nil || !strings.HasPrefix(err.Error(), "trace:") {
		t.Errorf("empty path: %v", err)
	}
}

// Two marks 0.8 mm past the canal's ends: the path goes on straight past them, and its sd says so there, but
// not farther in and not for the canal as a whole.
func TestEndsAreAsSureAsTheirMarks(t *testing.T) {
	s := bar(sweep(-9, 9, func(x float64) r3.Vec { return r3.Vec{X: x, Y: 1 + 0.01*x*x} }))
	marks := s.ends()
	v := s.paint(t, s.straightGrid(0.4))
	marks[0].X, marks[1].X = marks[0].X-0.8, marks[1].X+0.8
	p, err := Follow(t.Context(), v, marks, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range []int{0, len(p.Points) - 1} {
		if e, _ := nearestOn(s.canal, p.Points[i]); e < 0.4 || e > 3*p.SD[i] {
			t.Errorf("end %d is %.2f mm off, its sd %.2f mm", i, e, p.SD[i])
		}
	}
	if m := len(p.Points) / 2; p.SD[m] > 0.1 || p.MarkingSD() > 0.2 {
		t.Errorf("sd %.2f mm in the middle, %.2f mm in all", p.SD[m], p.MarkingSD())
	}
}

func ExamplePath_WriteYAML() {
	p := &Path{Points: []r3.Vec{{X: 20, Y: 5, Z: -8}}, Radii: []float64{1.4}, SD: []float64{0.1}, RadiusSD: []float64{0.1}}
	var b bytes.Buffer
	if err := p.WriteYAML(&b, "right canal", "canal"); err != nil {
		panic(err)
	}
	fmt.Print(strings.SplitAfter(b.String(), "\n")[0])
	// Output: # traced, to be confirmed: 0.0 mm of canal
}
