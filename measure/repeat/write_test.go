package repeat

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func golden(t *testing.T, file string, write func(io.Writer) error) {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, write(&b))
	path := filepath.Join(data, file)
	if *update {
		require.NoError(t, os.WriteFile(path, b.Bytes(), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(want), b.String(), "%s: run with -update and read the difference", file)
}

// The text a reader of the paper would get, for three raters, for replicates, and for two unequal tables.
func TestMethodsText(t *testing.T) {
	golden(t, "methods-readers.md", agree(t, "readers.csv", nil).WriteMethods)
	with := func(c *Columns, o *Options) { c.Replicate = "replicate" }
	golden(t, "methods-unequal.md", agree(t, "unequal.csv", with).WriteMethods)
	golden(t, "methods-reread.md", agree(t, "reread.csv", with).WriteMethods)
	golden(t, "methods-replicates.md", agree(t, "pefr-1986.csv", func(c *Columns, o *Options) { c.Replicate, o.Unit = "replicate", "l/min" }).WriteMethods)
}

func TestCSVIsTidyAndWhole(t *testing.T) {
	replicates := func(c *Columns, _ *Options) { c.Replicate = "replicate" }
	for file, r := range map[string]*Result{"readers.csv": agree(t, "readers.csv", nil), "reread.csv": agree(t, "reread.csv", replicates),
		"pefr-1986.csv": agree(t, "pefr-1986.csv", replicates)} {
		var b bytes.Buffer
		require.NoError(t, r.WriteCSV(&b))
		rows, err := csv.NewReader(&b).ReadAll()
		require.NoError(t, err)
		assert.True(t, slices.Equal(CSVColumns, rows[0]), rows[0])
		units, keys := map[string]bool{}, map[string]bool{}
		for _, row := range rows[1:] {
			units[row[slices.Index(CSVColumns, "unit")]], keys[row[0]] = true, true
			assert.NotContains(t, strings.Join(row, ","), "NaN")
		}
		assert.Equal(t, map[string]bool{"mm": true, "mm²": true, "1": true}, units, file)
		assert.Len(t, keys, len(rows)-1, "%s: one key a row", file)
		if file == "readers.csv" {
			assert.Len(t, rows, 1+3*2+3*14+3+9+6) // raters, pairs, components, overall, ICCs
		}
	}
}

// The text and the JSON say from which table, by which rows and by which program.
func TestOutputsSayWhereTheyComeFrom(t *testing.T) {
	const table = "case,reader,quantity,value,unit\n1,A,w,3,mm\n1,B,w,4,mm\n2,A,w,5,mm\n2,B,w,6,mm\n3,A,w,7,mm\n3,B,w,8.5,mm\n3,B,x,1,deg\n"
	r, err := Agree(strings.NewReader(table), Columns{Subject: []string{"case"}, Rater: "reader", Value: "value"},
		Options{Where: []Condition{{"quantity", "w"}}, Tool: "ridgerule 9.9"})
	require.NoError(t, err)
	sum := fmt.Sprintf("%x", sha256.Sum256([]byte(table)))
	var text, data bytes.Buffer
	require.NoError(t, errors.Join(r.WriteMethods(&text), r.WriteJSON(&data)))
	for _, want := range []string{"Made by ridgerule 9.9.", "SHA-256 " + sum, "Rows kept: quantity = w.", "Rater: reader."} {
		assert.Contains(t, text.String(), want)
	}
	for _, want := range []string{`"tool": "ridgerule 9.9"`, `"sha256": "` + sum, `"column": "quantity"`} {
		assert.Contains(t, data.String(), want)
	}
}

// A rater called =1+1 must not be run by a spreadsheet, nor break a line of the text or of the plot.
func TestHostileNamesAreHarmless(t *testing.T) {
	table := tableOf([][2]float64{{1, 2}, {3, 5}, {5, 6}, {7, 7}})
	for i := range table.Readings {
		if table.Readings[i].Rater == "A" {
			table.Readings[i].Rater = "=HYPERLINK(\"x\")\n<script>\x01|" + strings.Repeat("w", 60)
		}
	}
	for i, x := range []string{"all", "B − all"} { // and a pair whose names run together with another's
		table.Readings = append(table.Readings, Reading{"0", x, "1", 1, 0, ""}, Reading{"1", x, "1", 2, 0, ""}, Reading{"2", x, "1", 4, 0, ""},
			Reading{"0", x, "2", 1, 0, ""}, Reading{"1", x, "2", 3, 0, ""}, Reading{"2", x, "2", 4 + float64(i), 0, ""})
	}
	r, err := Analyse(table, Options{Unit: "mm"})
	require.NoError(t, err)
	keys := map[string]bool{}
	for _, x := range r.rows() {
		assert.False(t, keys[x.key()], x.key())
		keys[x.key()] = true
	}
	var b bytes.Buffer
	require.NoError(t, r.WriteCSV(&b))
	rows, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	for _, row := range rows {
		for _, cell := range row {
			assert.False(t, strings.HasPrefix(cell, "="), cell)
		}
	}
	b.Reset()
	require.NoError(t, r.WriteMethods(&b))
	assert.NotContains(t, b.String(), ")\n<script>")
	b.Reset()
	require.NoError(t, r.WriteBlandAltman(&b, 0, "svg"))
	wellFormed(t, b.Bytes())
	assert.NotContains(t, b.String(), "<script>")
}

// Everything is read back as it was written; what is absent is null and has its reason beside it.
func TestJSONReadsBack(t *testing.T) {
	for _, r := range []*Result{agree(t, "readers.csv", nil), agree(t, "unequal.csv", func(c *Columns, o *Options) { c.Replicate = "replicate" })} {
		var b, again bytes.Buffer
		require.NoError(t, r.WriteJSON(&b))
		var back Result
		d := json.NewDecoder(bytes.NewReader(b.Bytes()))
		d.DisallowUnknownFields()
		require.NoError(t, d.Decode(&back))
		require.NoError(t, back.WriteJSON(&again))
		assert.Equal(t, b.String(), again.String())
		_, err := back.drawable(0)
		require.ErrorContains(t, err, "nothing to draw")
	}
}

func TestWritersPassOnAFullDisk(t *testing.T) {
	r := agree(t, "shrout-fleiss-1979.csv", nil)
	for name, write := range map[string]func(io.Writer) error{
		"json": r.WriteJSON, "csv": r.WriteCSV, "methods": r.WriteMethods,
		"svg": func(w io.Writer) error { return r.WriteIdentity(w, 0, "svg") },
		"png": func(w io.Writer) error { return r.WriteBlandAltman(w, 0, "png") },
	} {
		require.ErrorIs(t, write(full{}), errFull, name)
	}
}

var errFull = errors.New("disk full")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestChecklistHasFifteenItemsAndNoneIsBare(t *testing.T) {
	for i, item := range agree(t, "readers.csv", nil).Checklist() {
		assert.Equal(t, i+1, item.Number)
		assert.NotEmpty(t, item.Data+item.Author, item.Asks)
	}
}

func wellFormed(t *testing.T, b []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(b))
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else if err != nil {
			t.Fatalf("SVG: %v", err)
		}
	}
}

// Ink where it must be: a ring round every pair and a line of identity; no colour anywhere.
func TestPlotsAreInkOnPaper(t *testing.T) {
	r := agree(t, "readers.csv", nil)
	for name, draw := range map[string]func(io.Writer, int, string) error{"difference": r.WriteBlandAltman, "identity": r.WriteIdentity} {
		var b, again bytes.Buffer
		require.NoError(t, draw(&b, 0, "png"))
		require.NoError(t, draw(&again, 0, "png"))
		assert.True(t, bytes.Equal(b.Bytes(), again.Bytes()), "%s: same result, other bytes", name)
		img, err := png.Decode(&b)
		require.NoError(t, err)
		dark, coloured := inked(img)
		assert.InDelta(t, 0.01, dark, 0.009, "%s: part of dark pixels", name)
		assert.Zero(t, coloured, name)
		for i, p := range r.Pairs {
			var svg bytes.Buffer
			require.NoError(t, draw(&svg, i, "svg"))
			wellFormed(t, svg.Bytes())
			for _, word := range []string{p.First, p.Second, "(mm)", "40 subjects", "sans-serif"} {
				assert.Contains(t, svg.String(), word, name)
			}
		}
	}
}

func inked(img image.Image) (dark float64, coloured int) {
	b := img.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			c := color.NRGBAModel.Convert(img.At(x, y)).(color.NRGBA)
			if c.R != c.G || c.G != c.B {
				coloured++
			}
			if c.R < 128 {
				dark++
			}
		}
	}
	return dark / float64(b.Dx()*b.Dy()), coloured
}

func TestPlotsRefuse(t *testing.T) {
	r := agree(t, "shrout-fleiss-1979.csv", nil)
	require.ErrorContains(t, r.WriteIdentity(io.Discard, 6, "png"), "has pairs 0 to 5")
	require.ErrorContains(t, r.WriteIdentity(io.Discard, 0, "gif"), "svg and png are known")
}

// Readings that are all equal, differ by a constant, or are three: a plot all the same.
func TestPlotsOfPoorData(t *testing.T) {
	for name, rows := range map[string][][2]float64{
		"equal":    {{5, 5}, {5, 5}, {5, 5}},
		"zero":     {{0, 0}, {0, 0}, {0, 0}},
		"constant": {{10.1, 10}, {12.4, 12.3}, {9.7, 9.6}},
		"three":    {{9, 2}, {6, 1}, {8, 4}},
		"huge":     {{1e14, -1e14}, {2e14, 0}, {3e14, 1}},
	} {
		r, err := Analyse(tableOf(rows), Options{Unit: "mm"})
		require.NoError(t, err, name)
		for i, draw := range []func(io.Writer, int, string) error{r.WriteBlandAltman, r.WriteIdentity} {
			var b bytes.Buffer
			require.NoError(t, draw(&b, 0, "png"), name)
			if dir := os.Getenv("RIDGERULE_PLOTS"); dir != "" {
				require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s-%d.png", name, i)), b.Bytes(), 0o644))
			}
		}
	}
}

// 10.1 − 10 and 12.4 − 12.3 differ in the last bits only: a constant difference, and no test is made of it.
func TestRoundingIsNotVariation(t *testing.T) {
	p := pairOfRows(t, [][2]float64{{10.1, 10}, {12.4, 12.3}, {9.7, 9.6}, {8.5, 8.4}})
	near(t, "bias", p.Bias.Value, 0.1, 1e-14)
	assert.Zero(t, float64(p.SD.Value))
	assert.False(t, p.BiasTest.P.Known())
	assert.False(t, p.SlopeTest.P.Known())
	r, err := Analyse(tableOf([][2]float64{{10.1, 10}, {12.4, 12.3}, {9.7, 9.6}, {8.5, 8.4}}), Options{})
	require.NoError(t, err)
	assert.Equal(t, Number(1), r.Overall.ICC[2].Value)
	assert.Equal(t, noError, r.Overall.ICC[2].Reason)
}
