package report

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// tableFiles writes the two tables and returns their paths.
func tableFiles(t *testing.T) (measurements, sites string) {
	t.Helper()
	dir := t.TempDir()
	measurements, sites = filepath.Join(dir, "measurements.csv"), filepath.Join(dir, "sites.csv")
	var a, b bytes.Buffer
	require.NoError(t, MeasurementsCSV(&a, sampleResult()))
	require.NoError(t, SitesCSV(&b, sampleResult()))
	require.NoError(t, os.WriteFile(measurements, a.Bytes(), 0o600))
	require.NoError(t, os.WriteFile(sites, b.Bytes(), 0o600))
	return measurements, sites
}

// Python's own csv module reads the rows, and a number back as it was written.
func TestPythonReadsTheTables(t *testing.T) {
	measurements, _ := tableFiles(t)
	const script = `
import csv, sys
rows = list(csv.DictReader(open(sys.argv[1], newline="", encoding="utf-8")))
print(len(rows))
print(sum(float(r["value"]) for r in rows if r["quantity"] == "ridge_height" and r["value"]))
print({r["verdict"] for r in rows if r["quantity"] == "clearance"} == {"not held", "uncertain", "not assessed"})
`
	got := strings.Fields(oracle(t, "python3", "-c", script, measurements))
	want := 0
	for _, s := range sampleResult().Sites {
		want += len(rowsOf(&s))
	}
	require.Equal(t, []string{fmt.Sprint(want + 3), "32.04", "True"}, got)
}

// R reads both tables with the types that the data package states, with no warning.
func TestRReadsTheTablesWithTheirTypes(t *testing.T) {
	measurements, sites := tableFiles(t)
	for file, columns := range map[string][]Column{measurements: MeasurementColumns(), sites: SiteColumns(Depths(sampleResult()))} {
		var classes []string
		for _, c := range columns {
			classes = append(classes, map[string]string{"string": "'character'", "number": "'numeric'"}[c.Type])
		}
		script := fmt.Sprintf(`options(warn=2); d <- read.csv(%q, colClasses=c(%s), na.strings="", check.names=FALSE, encoding="UTF-8"); cat(names(d), nrow(d))`,
			file, strings.Join(classes, ","))
		got := strings.Fields(oracle(t, "Rscript", "-e", script))
		require.Equal(t, names(columns), got[:len(got)-1])
	}
}
