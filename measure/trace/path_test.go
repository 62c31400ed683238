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
		SD: []float64{0.03, 0.04}, RadiusSD: []float64{0.04, 0.03}, Length: 1,
		Low: []Span{{From: 0, To: 1, Confidence: 0.25}},
	}
	var b bytes.Buffer
	if err := p.WriteYAML(&b, "right canal: 1", "canal"); err != nil {
		t.Fatal(err)
	}
	want := `# traced, to be confirmed: 1.0 mm of canal
# low confidence (down to 0.25) from 0.0 to 1.0 mm along the path: look there first
- name: "right canal: 1"
  kind: canal
  path:
    - [1.000, 2.000, 3.000]
    - [2.000, 2.000, 3.000]
  radii_mm: [1.500, 1.600]
  sd_mm: 0.050
`
	if b.String() != want {
		t.Errorf("wrote\n%s\nwant\n%s", b.String(), want)
	}
	if err := new(Path).WriteYAML(&b, "x", "canal"); err == nil || !strings.HasPrefix(err.Error(), "trace:") {
		t.Errorf("empty path: %v", err)
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
