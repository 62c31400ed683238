package report

import (
	"bytes"
	"encoding/csv"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
)

// The header is the contract of docs: formats, "Outputs of one case".
func TestMeasurementsHeaderIsTheContract(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, MeasurementsCSV(&out, sampleResult()))
	header, _, _ := strings.Cut(out.String(), "\n")
	require.Equal(t, "case,site,tooth,quantity,at_mm,to,value,unit,u,U,margin,verdict,note", header)
	require.NotContains(t, out.String(), "\r")
}

func TestSitesHeaderNamesWidthsByDepth(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, SitesCSV(&out, sampleResult()))
	header, _, _ := strings.Cut(out.String(), "\n")
	require.Equal(t, "case,site,tooth,arc_mm,crest_x,crest_y,crest_z,axis_x,axis_y,axis_z,"+
		"height_mm,height_U_mm,height_to,width_1mm_mm,width_3mm_mm,width_5mm_mm,width_7mm_mm,width_10mm_mm,tilt_deg,verdict,note", header)
}

func TestEveryNumberComesBackFromTheTable(t *testing.T) {
	r := sampleResult()
	var out bytes.Buffer
	require.NoError(t, MeasurementsCSV(&out, r))
	rows, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	i := 1
	for _, s := range r.Sites {
		for _, want := range rowsOf(&s) {
			got := rows[i]
			i++
			require.Equal(t, []string{r.Case, s.ID, s.Tooth, string(want.Quantity)}, got[:4])
			if want.Value == nil {
				require.Equal(t, "", got[6])
				require.NotEmpty(t, got[12], "a missing number says why")
				continue
			}
			value, err := strconv.ParseFloat(got[6], 64)
			require.NoError(t, err)
			// Half a unit of the fourth decimal.
			require.InDelta(t, *want.Value, value, 0.5e-4+1e-12)
		}
	}
	require.Equal(t, len(rows), i+len(r.Arch.Rows))
}

// A site that failed still has its row: nothing missing is silent.
func TestFailedSiteSaysWhy(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, MeasurementsCSV(&out, sampleResult()))
	require.Contains(t, out.String(), "pine-042,47,47,ridge_height,,,,mm,,,,,section at 3.1 mm of the arch lies outside the field of the scan\n")
}

// Whatever a plan's text holds, the table keeps its shape and starts no formula.
func FuzzHostileTextKeepsTheTable(f *testing.F) {
	f.Add("=cmd|'/c calc'!A0", "a,b\n\"c\"")
	f.Add("-2+3", "\x00\xff\u202e")
	f.Fuzz(func(t *testing.T, label, note string) {
		r := sampleResult()
		r.Case, r.Sites[1].Note, r.Sites[1].Rows[0].Note = label, note, note
		var out bytes.Buffer
		require.NoError(t, MeasurementsCSV(&out, r))
		rows, err := csv.NewReader(&out).ReadAll()
		require.NoError(t, err)
		for _, row := range rows[1:] {
			require.Len(t, row, 13)
			for _, column := range []int{0, 12} {
				require.NotContains(t, "=+-@\t\r", firstRune(row[column]))
			}
		}
	})
}

func firstRune(s string) string {
	for _, r := range s {
		return string(r)
	}
	return "none"
}

func TestDepthsAreTheUnionOfAllSites(t *testing.T) {
	r := sampleResult()
	r.Sites[1].Rows = append(r.Sites[1].Rows, measure.Row{Quantity: "ridge_width", At: pointer(2.5)})
	require.Equal(t, []float64{1, 2.5, 3, 5, 7, 10}, Depths(r))
}
