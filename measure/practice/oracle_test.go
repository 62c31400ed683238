package practice

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
)

const oracleData = "../../testdata/practice"

// oracle reads R's answer: figures by name and place.
func oracle(t *testing.T, text []byte) map[string]float64 {
	t.Helper()
	c := csv.NewReader(bytes.NewReader(text))
	c.Comment = '#'
	rows, err := c.ReadAll()
	if err != nil || len(rows) < 20 {
		t.Fatalf("R's answer: %v\n%s", err, text)
	}
	out := map[string]float64{}
	for _, row := range rows[1:] {
		x, err := strconv.ParseFloat(row[2], 64)
		if err != nil {
			t.Fatal(err)
		}
		out[row[0]+"."+row[1]] = x
	}
	return out
}

// oracleMarks are the readings of testdata/practice/readings.csv as marks.
func oracleMarks(t *testing.T) *Marks {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(oracleData, "readings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	m := &Marks{Reader: "r", Rules: Usual()}
	for _, row := range rows[1:] {
		value, _ := strconv.ParseFloat(row[2], 64)
		truth, _ := strconv.ParseFloat(row[3], 64)
		m.List = append(m.List, Mark{Reader: "r", Item: row[0], Site: row[0], Question: width(3), Unit: "mm", Value: &value,
			Truth: truth, Error: value - truth, Tolerance: 0.5, Verdict: Within})
	}
	return m
}

// R 4.2.2, base functions (testdata/practice/base.R): prop.test without correction is Wilson's interval; t.test, sd
// and qchisq give bias, spread and Dahlberg's error. R prints 15 digits and takes quantiles by iteration: 1e-9.
func TestFiguresMeetR(t *testing.T) {
	committed, err := os.ReadFile(filepath.Join(oracleData, "base.out.csv"))
	if err != nil {
		t.Fatal(err)
	}
	want := oracle(t, committed)
	meet := func(name string, got float64) {
		t.Helper()
		x, there := want[name]
		if !there || math.Abs(got-x) > 1e-9*math.Max(1, math.Abs(x)) {
			t.Errorf("%s = %.12g, R says %.12g (%v)", name, got, x, there)
		}
	}
	for _, n := range []int{1, 5, 20, 40, 200} {
		for _, k := range []int{0, 1, n / 2, n} {
			s := shareOf(k, n)
			meet(fmt.Sprintf("wilson_%d_%d.1", k, n), s.Low)
			meet(fmt.Sprintf("wilson_%d_%d.2", k, n), s.High)
		}
	}
	s, err := Summarise(oracleMarks(t))
	if err != nil {
		t.Fatal(err)
	}
	p, d := s.Lengths.Pair, s.Lengths.Dahlberg
	for i, x := range []float64{float64(p.Bias.Value), float64(p.Bias.Low), float64(p.Bias.High)} {
		meet(fmt.Sprintf("bias.%d", i+1), x)
	}
	for i, x := range []float64{float64(p.SD.Value), float64(p.SD.Low), float64(p.SD.High)} {
		meet(fmt.Sprintf("sd.%d", i+1), x)
	}
	meet("limits.1", float64(p.LowerLimit.Value))
	meet("limits.2", float64(p.UpperLimit.Value))
	for i, x := range []float64{float64(d.Dahlberg.Value), float64(d.Dahlberg.Low), float64(d.Dahlberg.High)} {
		meet(fmt.Sprintf("dahlberg.%d", i+1), x)
	}
}

// The committed answer is what R gives here and now.
func TestRStillSaysSo(t *testing.T) {
	if _, err := exec.LookPath("Rscript"); err != nil {
		t.Skip("no Rscript here: the committed answer of R is not made anew")
	}
	out, err := exec.Command("Rscript", filepath.Join(oracleData, "base.R"), filepath.Join(oracleData, "readings.csv")).Output()
	if err != nil {
		t.Fatal(err)
	}
	committed, err := os.ReadFile(filepath.Join(oracleData, "base.out.csv"))
	if err != nil {
		t.Fatal(err)
	}
	was := oracle(t, committed)
	for name, now := range oracle(t, out) {
		if math.Abs(now-was[name]) > 1e-12*math.Max(1, math.Abs(now)) {
			t.Errorf("%s: R says %.15g, committed %.15g", name, now, was[name])
		}
	}
}
