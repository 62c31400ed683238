package repeat

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var plainColumns = Columns{Subject: []string{"case"}, Rater: "reader", Value: "height_mm"}

func read(text string, c Columns, o Options) (*Table, error) {
	return Read(strings.NewReader(text), c, o)
}

func TestReadTakesUnitsFromWhereTheyStand(t *testing.T) {
	for _, c := range []struct {
		name, text, unit string
		columns          Columns
		options          Options
	}{
		{"name of the value", "case,reader,height_mm\n1,A,3\n", "mm", plainColumns, Options{}},
		{"column called unit", "case,reader,value,unit\n1,A,3,deg\n", "deg", Columns{Subject: []string{"case"}, Rater: "reader", Value: "value"}, Options{}},
		{"column named", "case,reader,value,in\n1,A,3,cm\n", "cm", Columns{Subject: []string{"case"}, Rater: "reader", Value: "value", Unit: "in"}, Options{}},
		{"caller", "case,reader,value\n1,A,3\n", "inch", Columns{Subject: []string{"case"}, Rater: "reader", Value: "value"}, Options{Unit: "inch"}},
		{"nobody", "case,reader,value\n1,A,3\n", "", Columns{Subject: []string{"case"}, Rater: "reader", Value: "value"}, Options{}},
	} {
		table, err := read(c.text, c.columns, c.options)
		require.NoError(t, err, c.name)
		assert.Equal(t, c.unit, table.Unit, c.name)
	}
}

// Nothing is converted, so a unit that is given may not differ from one that the table says.
func TestReadRefusesAUnitBesideItsOwn(t *testing.T) {
	column := Columns{Subject: []string{"case"}, Rater: "reader", Value: "value"}
	for _, c := range []struct {
		text, unit, want string
		columns          Columns
	}{
		{"case,reader,value,unit\n1,A,3,mm\n", "inch", `line 1, column "unit": the table says the unit of each reading itself, and "inch" was given`, column},
		{"case,reader,value,unit\n1,A,3,mm\n", "mm", `column "unit": the table says the unit`, column},
		{"case,reader,height_mm\n1,A,3\n", "inch", `line 1, column "height_mm": its name says "mm", and "inch" was given`, plainColumns},
		{"case,reader,height_mm,unit\n1,A,3,deg\n", "", `line 2, column "unit": unit "deg", but the rows before or the name of the value say "mm"`, plainColumns},
	} {
		_, err := read(c.text, c.columns, Options{Unit: c.unit})
		require.ErrorContains(t, err, c.want)
	}
	_, err := Analyse(&Table{Value: "x", Unit: "mm", Readings: []Reading{{Subject: "1", Rater: "A"}}}, Options{Unit: "inch"})
	require.ErrorContains(t, err, `the readings are in "mm", and "inch" was given`)
}

// The merged table of a study: several quantities, several sites a case, rows without a number.
func TestReadPicksRowsOfAMergedTable(t *testing.T) {
	text := "case,reader,site,quantity,value,unit,note\n" +
		"p1,A,36,ridge_width,6.1,mm,\n" + "p1,A,36,ridge_tilt,12,deg,\n" +
		"p1,A,46,ridge_width,,mm,outside the field\n" + "p1,B,36,ridge_width,6.3,mm,\n"
	c := Columns{Subject: []string{"case", "site"}, Rater: "reader", Value: "value"}
	where := []Condition{{"quantity", "ridge_width"}}

	_, err := read(text, c, Options{})
	require.ErrorContains(t, err, `line 3, column "unit": unit "deg", but the rows before or the name of the value say "mm"`)
	_, err = read(text, c, Options{Where: where})
	require.ErrorContains(t, err, `line 4, column "value": no reading: fill it`)
	table, err := read(text, c, Options{Where: where, SkipMissing: true})
	require.NoError(t, err)
	assert.Len(t, table.Readings, 2)
	assert.Equal(t, 1, table.Skipped)
	assert.Equal(t, "mm", table.Unit)
	assert.Equal(t, table.Readings[0].Subject, table.Readings[1].Subject)
}

func TestReadAcceptsWhatSpreadsheetsWrite(t *testing.T) {
	table, err := read("\xef\xbb\xbfcase, reader ,height_mm\r\n\"1\",A, 3.50 \r\n2,A,-1e-2\r\n", plainColumns, Options{})
	require.NoError(t, err)
	assert.Equal(t, []Reading{{"1", "A", "", 3.5, 2, ""}, {"2", "A", "", -0.01, 3, ""}}, table.Readings)
}

func TestReadRefusesWithLineAndColumn(t *testing.T) {
	head := "case,reader,height_mm\n"
	for _, c := range []struct {
		name, text, want string
		line             int
	}{
		{"empty file", "", "the first line must name the columns", 0},
		{"only a head", head, "no rows", 0},
		{"column missing", "case,rater,height_mm\n1,A,3\n", `line 1, column "reader": not in the table, which has case, rater, height_mm`, 1},
		{"column twice", "case,reader,height_mm,reader\n1,A,3,B\n", `column "reader": in the table twice`, 1},
		{"semicolons", "case;reader;height_mm\n1;A;3\n", "not divided by commas", 1},
		{"reading missing", head + "1,A,3\n1,B,\n", `line 3, column "height_mm": no reading`, 3},
		{"subject missing", head + " ,A,3\n", `line 2, column "case": empty`, 2},
		{"rater missing", head + "1,,3\n", `line 2, column "reader": empty`, 2},
		{"decimal comma", head + "1,A,\"3,5\"\n", "write the decimal point as .", 2},
		{"word", head + "1,A,about 3\n", `"about 3" is not a number`, 2},
		{"unit in the cell", head + "1,A,3 mm\n", `"3 mm" is not a number`, 2},
		{"NaN", head + "1,A,NaN\n", `"NaN" is not a number`, 2},
		{"infinite", head + "1,A,-Inf\n", `"-Inf" is not a number`, 2},
		{"hexadecimal", head + "1,A,0x1p-2\n", "is not a number", 2},
		{"too large", head + "1,A,1e200\n", "past any measurement", 2},
		{"overflow", head + "1,A,1e999\n", "past any measurement", 2},
		{"duplicate", head + "1,A,3\n2,A,3\n1,A,4\n", `line 4, column "height_mm": a second reading of the same subject by the same rater (the first is on line 2)`, 4},
		{"short row", head + "1,A\n", "line 2: not a CSV row", 2},
		{"bare quote", head + "1,A\"x,3\n", "line 2: not a CSV row", 2},
	} {
		_, err := read(c.text, plainColumns, Options{})
		require.ErrorContains(t, err, c.want, c.name)
		var te *TableError
		require.ErrorAs(t, err, &te, c.name)
		assert.Equal(t, c.line, te.Line, c.name)
		assert.NotContains(t, err.Error(), "\x1f", c.name)
	}
}

func TestReadNamesAllFaultsUpToTwenty(t *testing.T) {
	_, err := read("case,reader,height_mm\n1,A,x\n,B,\n", plainColumns, Options{})
	assert.Equal(t, 3, strings.Count(err.Error(), "repeat: "))
	_, err = read("case,reader,height_mm\n"+strings.Repeat("1,A,x\n", 1000), plainColumns, Options{})
	assert.Equal(t, mostErrors, strings.Count(err.Error(), "repeat: "))
}

func TestReadPassesOnAFailingReader(t *testing.T) {
	_, err := Read(iotest.ErrReader(io.ErrUnexpectedEOF), plainColumns, Options{})
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
	_, err = Read(strings.NewReader("x"), Columns{}, Options{})
	require.ErrorContains(t, err, "name the columns")
}

func TestAnalyseRefusesTooFew(t *testing.T) {
	_, err := Analyse(tableOf([][2]float64{{1, 2}, {3, 4}}), Options{})
	require.ErrorIs(t, err, ErrTooFew)
	require.ErrorContains(t, err, "2 of 2 subjects")
	one := &Table{Readings: []Reading{{Subject: "1", Rater: "A"}, {Subject: "2", Rater: "A"}, {Subject: "3", Rater: "A"}}}
	_, err = Analyse(one, Options{})
	require.ErrorIs(t, err, ErrTooFew)
	require.ErrorContains(t, err, "a second rater or a replicate column")
	_, err = Analyse(&Table{}, Options{})
	require.ErrorIs(t, err, ErrTooFew)
}

func TestAnalyseRefusesWrongOptions(t *testing.T) {
	good := tableOf([][2]float64{{1, 2}, {3, 4}, {5, 7}})
	for want, o := range map[string]Options{
		"from 0.5 to 0.999":       {Confidence: 95},
		"above 0 and up to 10":    {LimitsFactor: -1},
		`no rater "Z"`:            {Raters: []string{"A", "Z"}},
		`"A" was asked for twice`: {Raters: []string{"A", "A"}},
	} {
		_, err := Analyse(good, o)
		require.ErrorContains(t, err, want)
	}
	twice := &Table{Readings: append(good.Readings, good.Readings[0])}
	_, err := Analyse(twice, Options{})
	require.ErrorContains(t, err, "a second reading")
}

// 101 raters are subjects in the wrong column: pairs grow with the square.
func TestAnalyseRefusesSwappedColumns(t *testing.T) {
	table := &Table{Value: "x"}
	for i := range 101 {
		for j := range 3 {
			table.Readings = append(table.Readings, Reading{Subject: fmt.Sprint(j), Rater: fmt.Sprint(i), Value: float64(i + j)})
		}
	}
	_, err := Analyse(table, Options{})
	require.ErrorContains(t, err, "is the rater column the right one?")
}

func TestAnalyseSaysUnequal(t *testing.T) {
	table := tableOf([][2]float64{{1, 2}, {3, 4}, {5, 7}, {6, 6}})
	table.Readings = table.Readings[:7]
	r, err := Analyse(table, Options{})
	require.NoError(t, err)
	assert.Equal(t, TwoWayUnequal, r.Design.Model)
	assert.Contains(t, r.Notes[1], "7 readings for 4 subjects and 2 raters; 1 place empty")
	assert.Equal(t, 3, r.Pairs[0].Subjects)
	_, err = Analyse(table, Options{RequireBalanced: true})
	require.ErrorIs(t, err, ErrUnbalanced)
	require.ErrorContains(t, err, "1 place empty")
}

// What parses is written back and read the same; what fails says where; what is read is analysed or
// refused, and its result is JSON.
func FuzzRead(f *testing.F) {
	f.Add("case,reader,round,height_mm\n1,A,1,3\n1,B,1,4\n2,A,1,5\n2,B,1,6\n3,A,1,7\n3,B,1,8.5\n")
	f.Add("\xef\xbb\xbfcase,reader,round,height_mm\n1,A,1,3\n1,A,2,3\n2,A,1,3\n2,A,2,3\n3,A,1,3\n3,A,2,3\n")
	f.Add("case,reader,round,height_mm,unit\n1,A,1,1e15,mm\n1,B,1,-1e15,mm\n\"2\n\",A,1,0.1,mm\n2,B,1,1e-320,mm\n3,A,1,5,mm\n3,B,1,5,mm\n")
	f.Add("case;reader\n")
	f.Fuzz(func(t *testing.T, text string) {
		c := Columns{Subject: []string{"case"}, Rater: "reader", Replicate: "round", Value: "height_mm"}
		table, err := read(text, c, Options{})
		if err != nil {
			var te *TableError
			if !errors.As(err, &te) {
				t.Fatalf("error of another kind: %v", err)
			}
			return
		}
		again, err := read(writeTable(table), c, Options{Unit: table.Unit})
		if err != nil {
			t.Fatalf("written back: %v", err)
		}
		for i := range again.Readings {
			a, b := table.Readings[i], again.Readings[i]
			if a.Line, b.Line = 0, 0; a != b {
				t.Fatalf("read %+v, written back and read %+v", a, b)
			}
		}
		r, err := Analyse(table, Options{})
		if err != nil {
			return
		}
		for _, write := range []func(io.Writer) error{r.WriteJSON, r.WriteCSV, r.WriteMethods} {
			if err := write(io.Discard); err != nil {
				t.Fatal(err)
			}
		}
	})
}

func writeTable(table *Table) string {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write([]string{"case", "reader", "round", "height_mm"})
	for _, r := range table.Readings {
		w.Write([]string{r.Subject, r.Rater, r.Replicate, strconv.FormatFloat(r.Value, 'g', -1, 64)})
	}
	w.Flush()
	return b.String()
}
