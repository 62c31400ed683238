package report

import (
	"bytes"
	"encoding/csv"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/dicomio"
	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

func sampleSource() dicomio.Source {
	return dicomio.Source{
		Study: "1.2.826.0.1.3680043.9.9999.1", Series: "1.2.826.0.1.3680043.9.9999.2", FrameOfReference: "1.2.826.0.1.3680043.9.9999.3",
		Images: []string{"1.2.826.0.1.3680043.9.9999.4.1", "1.2.826.0.1.3680043.9.9999.4.2"},
	}
}

func srFile(t *testing.T, src dicomio.Source) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, SR(&out, sampleCase(), src))
	file := filepath.Join(t.TempDir(), "sr.dcm")
	require.NoError(t, os.WriteFile(file, out.Bytes(), 0o600))
	lookAt(t, "sr.dcm", out.Bytes())
	return file
}

// oracle runs an outside program, or skips when it is not installed.
func oracle(t *testing.T, name string, args ...string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s is not installed", name)
	}
	out, err := exec.Command(path, args...).CombinedOutput()
	require.NoError(t, err, string(out))
	return string(out)
}

func TestSRHasNoErrorForDciodvfy(t *testing.T) {
	for name, src := range map[string]dicomio.Source{"with source": sampleSource(), "without": {}} {
		text := oracle(t, "dciodvfy", srFile(t, src))
		require.NotContains(t, text, "Error", name)
		require.Contains(t, text, "Comprehensive3DSR")
	}
}

func TestSRIsReadByDsrdump(t *testing.T) {
	text := oracle(t, "dsrdump", srFile(t, sampleSource()))
	require.Contains(t, text, "Imaging Measurement Report")
	require.NotContains(t, strings.ToLower(text), "error")
}

// pydicom walks the tree and prints each number's quantity, depth, value and U: they are the CSV's.
const walkSR = `
import sys, pydicom
def name(n): return n.ConceptNameCodeSequence[0].CodeValue
def walk(n):
    if n.ValueType == "NUM" and n.RelationshipType == "CONTAINS":
        q = d = u = ""
        for m in n.get("ContentSequence", []):
            if name(m) == "370129005": q = m.TextValue.split(" to ")[0]
            if name(m) == "131197000": d = str(m.MeasuredValueSequence[0].NumericValue)
            if name(m) == "371884006": u = str(m.MeasuredValueSequence[0].NumericValue)
        v = n.MeasuredValueSequence
        print(",".join([q, d, str(v[0].NumericValue) if len(v) else "", u]))
    for m in n.get("ContentSequence", []): walk(m)
walk(pydicom.dcmread(sys.argv[1]))
`

func TestSRNumbersAreTheTables(t *testing.T) {
	file := srFile(t, sampleSource())
	python := "/usr/bin/python3"
	if exec.Command(python, "-c", "import pydicom").Run() != nil {
		t.Skip("python3-pydicom is not installed")
	}
	got := strings.Fields(oracle(t, python, "-c", walkSR, file))
	var table bytes.Buffer
	require.NoError(t, MeasurementsCSV(&table, sampleResult()))
	rows, err := csv.NewReader(&table).ReadAll()
	require.NoError(t, err)
	i := 0
	for _, row := range rows[1:] {
		if _, coded := concepts[quantity.Name(row[3])]; !coded {
			continue
		}
		require.Less(t, i, len(got))
		cells := strings.Split(got[i], ",")
		i++
		require.Equal(t, row[3], cells[0])
		require.Equal(t, row[4], cells[1])
		for k, column := range map[int]int{2: 6, 3: 9} {
			if row[column] == "" {
				require.Empty(t, cells[k])
				continue
			}
			want, err := strconv.ParseFloat(row[column], 64)
			require.NoError(t, err)
			value, err := strconv.ParseFloat(cells[k], 64)
			require.NoError(t, err)
			require.Equal(t, want, value)
		}
	}
	require.Equal(t, len(got), i)
	require.Greater(t, i, 50)
}

func TestObjectsHoldNoIdentityUnlessAsked(t *testing.T) {
	src := sampleSource()
	var sr bytes.Buffer
	require.NoError(t, SR(&sr, sampleCase(), src))
	captures, err := Captures(sampleCase(), src)
	require.NoError(t, err)
	all := sr.String()
	for _, f := range captures {
		all += string(f.Data)
	}
	require.NotContains(t, all, "1.2.826.0.1.3680043.9.9999", "a UID of the source")

	src.Identity = &dicomio.Identity{PatientName: "Invented^Name", PatientID: "X1", PatientBirthDate: "19700101"}
	sr.Reset()
	require.NoError(t, SR(&sr, sampleCase(), src))
	require.Contains(t, sr.String(), "Invented^Name")
	require.Contains(t, sr.String(), src.Study)
}

func TestCapturesHaveNoErrorForDciodvfy(t *testing.T) {
	files, err := Captures(sampleCase(), sampleSource())
	require.NoError(t, err)
	require.Len(t, files, 5)
	file := filepath.Join(t.TempDir(), "sc.dcm")
	for _, f := range files[2:4] {
		require.NoError(t, os.WriteFile(file, f.Data, 0o600))
		text := oracle(t, "dciodvfy", file)
		require.NotContains(t, text, "Error", f.Name)
	}
}

// The side is the place's: a tooth numbered on the other side does not move the patient's right to the left,
// and where the place tells no side none is written.
func TestSideComesFromThePlace(t *testing.T) {
	node := func(s *measure.SiteResult) map[string]string {
		out := map[string]string{}
		for _, n := range siteCode(measure.Mandible, s).Nodes {
			out[n.Name.Meaning] = n.Code.Meaning
		}
		return out
	}
	require.Equal(t, map[string]string{"Laterality": "Left", "Topographical modifier": "First molar region"}, node(&measure.SiteResult{Tooth: "46", Side: measure.Left}))
	require.Equal(t, map[string]string{"Topographical modifier": "First molar region"}, node(&measure.SiteResult{Tooth: "46"}))
	require.Equal(t, map[string]string{"Laterality": "Right"}, node(&measure.SiteResult{Side: measure.Right}))
	for _, bad := range []string{"", "3", "39", "96", "3a", "367"} {
		_, known := regionOf(bad)
		require.False(t, known, bad)
	}
}
