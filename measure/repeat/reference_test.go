package repeat

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// referenceTable is testdata/practice/readings.csv with the rater's column that agree needs.
func referenceTable(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "practice", "readings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	for i := range lines {
		lines[i] += map[bool]string{true: ",reader", false: ",r1"}[i == 0]
	}
	return strings.Join(lines, "\n") + "\n"
}

var referenceColumns = Columns{Subject: []string{"site", "sitting"}, Cluster: "site", Rater: "reader", Value: "value", Reference: "truth"}

// R 4.2.2, base functions (testdata/practice/base.R): t.test, sd, lm of the errors over the truth. 15 digits printed, 1e-9.
func TestAReferenceMeetsR(t *testing.T) {
	r, err := Agree(strings.NewReader(referenceTable(t)), referenceColumns, Options{Unit: "mm"})
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "practice", "base.out.csv"))
	if err != nil {
		t.Fatal(err)
	}
	want := figures(t, string(b))
	p := r.Pairs[0]
	for name, got := range map[string]Number{
		"bias.1": p.Bias.Value, "bias.2": p.Bias.Low, "bias.3": p.Bias.High, "sd.1": p.SD.Value, "sd.2": p.SD.Low, "sd.3": p.SD.High,
		"limits.1": p.LowerLimit.Value, "limits.2": p.UpperLimit.Value,
		"slope.1": p.Slope.Value, "slope.2": p.Slope.Low, "slope.3": p.Slope.High, "slope.4": p.SlopeTest.P,
	} {
		x, there := want[name+".value"]
		if !there {
			t.Errorf("R says nothing of %s", name)
		}
		near(t, name, got, x, 1e-9)
	}
	if p.First != "r1" || p.Second != "truth" || len(r.Pairs) != 1 || len(r.Raters) != 1 || r.Design.Readings != 40 || r.Reference != "truth" {
		t.Errorf("%d pairs, %s and %s, %d raters, %d readings", len(r.Pairs), p.First, p.Second, len(r.Raters), r.Design.Readings)
	}
	if p.Dahlberg.Value.Known() || r.Overall.WithinSD.Value.Known() || r.Overall.SEM.Value.Known() {
		t.Error("a figure that supposes an error of the reference is given")
	}
}

// Two raters are each held against the reference and not against each other; what is written has no zero for what is absent.
func TestRatersAreHeldAgainstTheReference(t *testing.T) {
	table := "s,reader,v,ref\n"
	for _, row := range []string{"1,%,10.1,10", "2,%,11.3,11", "3,%,12.0,12.1", "4,%,9.2,9"} {
		table += strings.ReplaceAll(row, "%", "a") + "\n" + strings.ReplaceAll(row, "%", "b") + "\n"
	}
	r, err := Agree(strings.NewReader(table), Columns{Subject: []string{"s"}, Rater: "reader", Value: "v", Reference: "ref"}, Options{Unit: "mm", Raters: []string{"b", "a"}})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Pairs) != 2 || r.Pairs[0].First != "b" || r.Pairs[1].First != "a" || r.Pairs[1].Second != "ref" {
		t.Errorf("pairs %s−%s and %s−%s", r.Pairs[0].First, r.Pairs[0].Second, r.Pairs[1].First, r.Pairs[1].Second)
	}
	near(t, "bias", r.Pairs[0].Bias.Value, (0.1+0.3-0.1+0.2)/4, 1e-12)
	var csv, text, plot bytes.Buffer
	for _, err := range []error{r.WriteCSV(&csv), r.WriteMethods(&text), r.WriteBlandAltman(&plot, 0, "svg")} {
		if err != nil {
			t.Fatal(err)
		}
	}
	if strings.Contains(csv.String(), "all,") || strings.Contains(csv.String(), "dahlberg_error:b − ref,dahlberg_error,b − ref,0") {
		t.Errorf("the table says\n%s", csv.String())
	}
	for _, want := range []string{"held against the reference ref", "Reference: ref", referenceNote} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("the methods do not say %q:\n%s", want, text.String())
		}
	}
	for _, no := range []string{"Mean of b and ref", "REML", "intraclass"} {
		if strings.Contains(plot.String()+text.String(), no) {
			t.Errorf("plot or methods say %q", no)
		}
	}
}

func TestWhatIsWrongWithAReferenceIsSaid(t *testing.T) {
	c := Columns{Subject: []string{"s"}, Rater: "reader", Value: "v", Reference: "ref"}
	for text, want := range map[string]string{
		"s,reader,v\n1,a,2\n":                      `column "ref": not in the table`,
		"s,reader,v,ref\n1,a,2,\n":                 `line 2, column "ref": no reading`,
		"s,reader,v,ref\n1,a,2,2\n1,b,2,3\n":       `line 3, column "ref": 3, but the same subject has 2 on line 2`,
		"s,reader,v,ref\n1,ref,2,2\n":              `a rater is called "ref"`,
		"s,reader,v,ref\n1,a,2,2\n2,a,2,about 3\n": `line 3, column "ref": "about 3" is not a number`,
	} {
		_, err := Agree(strings.NewReader(text), c, Options{Unit: "mm"})
		var fault *TableError
		if !errors.As(err, &fault) || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
	c.Rater, c.Replicate = "", "reader"
	if _, err := Agree(strings.NewReader("s,reader,v,ref\n1,a,2,2\n"), c, Options{}); err == nil || !strings.Contains(err.Error(), "name the column of the rater") {
		t.Errorf("no rater: %v", err)
	}
}
