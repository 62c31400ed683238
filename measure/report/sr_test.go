package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

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
	require.NoError(t, viewed(t, sampleCase()).SR(&out, src))
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

// readSR is a reader of TID 1500 written from DICOM PS3.16 with pydicom, apart from ours: it fails on what the templates
// 1500, 1501, 300 and 1600 do not allow, and prints each measurement as measurements.csv has it.
const readSR = `
import sys, pydicom, re
d = pydicom.dcmread(sys.argv[1])
declared = {i.CodingSchemeDesignator for i in d.CodingSchemeIdentificationSequence} | {"DCM", "SCT", "UCUM", "RFC5646"}
def code(c):
    assert len(c.CodeValue) <= 16 and len(c.CodeMeaning) <= 64, c
    assert c.CodingSchemeDesignator in declared, c
    return c.CodeValue, c.CodingSchemeDesignator
def name(n): return code(n.ConceptNameCodeSequence[0])[0]
def kids(n, value=None, relation=None, kind=None):
    return [m for m in n.get("ContentSequence", []) if (value is None or name(m) == value)
            and (relation is None or m.RelationshipType == relation) and (kind is None or m.ValueType == kind)]
def one(n, *how):
    found = kids(n, *how)
    assert len(found) == 1, (how, found)
    return found[0]
def coded(n, *how): return code(one(n, *how).ConceptCodeSequence[0])
def number(n, *how):
    m = kids(n, *how)
    assert len(m) <= 1
    return str(m[0].MeasuredValueSequence[0].NumericValue) if m else ""
assert name(d) == "126000" and d.ContentTemplateSequence[0].TemplateIdentifier == "1500"
assert len(kids(d, "121049", "HAS CONCEPT MOD", "CODE")) == 1 and len(kids(d, "121058", "HAS CONCEPT MOD", "CODE")) == 1
assert coded(d, "121005", "HAS OBS CONTEXT", "CODE") == ("121007", "DCM") and kids(d, "121012", "HAS OBS CONTEXT", "UIDREF")
evidence = {i.ReferencedSOPInstanceUID for s in d.get("CurrentRequestedProcedureEvidenceSequence", []) for r in s.ReferencedSeriesSequence for i in r.ReferencedSOPSequence}
for library in kids(d, "111028", "CONTAINS", "CONTAINER"):
    group = one(library, "126200", "CONTAINS", "CONTAINER")
    assert coded(group, "121139", "HAS ACQ CONTEXT", "CODE")[0] == "CT" and coded(group, "123014", "HAS ACQ CONTEXT", "CODE")
    images = [m.ReferencedSOPSequence[0].ReferencedSOPInstanceUID for m in kids(group, None, "CONTAINS", "IMAGE")]
    assert images and set(images) == evidence and len(images) == len(evidence)
    for tag in ("110910", "110911", "111026", "111066", "112226"): assert float(number(group, tag, "HAS ACQ CONTEXT", "NUM")) > 0
assert bool(evidence) == bool(kids(d, "111028"))
seen = set()
for g in kids(one(d, "126010", "CONTAINS", "CONTAINER"), "125007", "CONTAINS", "CONTAINER"):
    uid = one(g, "112040", "HAS OBS CONTEXT", "UIDREF").UID
    assert uid not in seen and one(g, "112039", "HAS OBS CONTEXT", "TEXT").TextValue
    seen.add(uid)
    assert coded(g, "363698007", "HAS CONCEPT MOD", "CODE")
    inside = [m for m in kids(g, None, "CONTAINS")]
    verdicts = [code(m.ConceptCodeSequence[0])[0] for m in inside if m.ValueType == "CODE" and name(m) == "verdict"]
    if one(g, "112039").TextValue.startswith("site "): assert name(inside[0]) == "verdict" and verdicts == [code(m.ConceptCodeSequence[0])[0] for m in inside[:len(verdicts)]]
    for m in inside:
        if m.ValueType != "NUM": continue
        method, scheme = coded(m, "370129005", "HAS CONCEPT MOD", "CODE")
        assert scheme == "99RIDGERULE"
        v = m.MeasuredValueSequence
        assert len(v) == 1 or code(m.NumericValueQualifierCodeSequence[0])
        to = kids(m, "measured_to", "HAS CONCEPT MOD", "TEXT")
        verdict = kids(m, "verdict", "HAS PROPERTIES", "CODE")
        note = kids(m, "121106", "HAS PROPERTIES", "TEXT")
        print("\t".join([method, number(m, "131197000", "HAS PROPERTIES", "NUM"), to[0].TextValue if to else "", str(v[0].NumericValue) if len(v) else "",
            code(v[0].MeasurementUnitsCodeSequence[0])[0] if len(v) else "", number(m, "371884006", "HAS PROPERTIES", "NUM"), number(m, "margin", "HAS PROPERTIES", "NUM"),
            code(verdict[0].ConceptCodeSequence[0])[0].replace("_", " ") if verdict else "", note[0].TextValue if note else ""]))
print("verdicts\t" + "\t".join(verdicts))
`

// Every row of the table is a number of the document, with its depth, what it was measured to, uncertainty, margin,
// verdict and note.
func TestSRIsTheTableForAReaderOfItsTemplate(t *testing.T) {
	for name, src := range map[string]dicomio.Source{"with source": sampleSource(), "without": {}} {
		t.Run(name, func(t *testing.T) {
			file := srFile(t, src)
			python := "/usr/bin/python3"
			if exec.Command(python, "-c", "import pydicom").Run() != nil {
				t.Skip("python3-pydicom is not installed")
			}
			got := strings.Split(strings.TrimRight(oracle(t, python, "-c", readSR, file), "\n"), "\n")
			var table bytes.Buffer
			require.NoError(t, MeasurementsCSV(&table, sampleResult()))
			rows, err := csv.NewReader(&table).ReadAll()
			require.NoError(t, err)
			require.Len(t, got, len(rows), "a line a row, and the verdicts in place of the header")
			require.Greater(t, len(rows), 50)
			for i, row := range rows[1:] {
				want := []string{methodOf(quantity.Name(row[3]), measure.Mandible).Value, row[4], row[5], row[6], row[7], row[9], row[10], row[11], row[12]}
				if row[6] == "" {
					want[4] = ""
				}
				cells := strings.Split(got[i], "\t")
				require.Len(t, cells, len(want))
				for k, cell := range want {
					if x, err := strconv.ParseFloat(cell, 64); err == nil && k != 2 {
						y, err := strconv.ParseFloat(cells[k], 64)
						require.NoError(t, err)
						require.Equal(t, x, y)
						continue
					}
					require.Equal(t, cell, cells[k], "row %d, column %d", i, k)
				}
			}
		})
	}
}

// A site's verdicts are its group's first content, the gravest first.
func TestSiteBeginsWithItsVerdicts(t *testing.T) {
	v := viewed(t, gravestCase())
	var values []string
	for _, n := range v.siteGroup(&v.page.Sites[3], "seed").Nodes {
		if n.Relation != "CONTAINS" {
			continue
		}
		if n.Type != "CODE" {
			break
		}
		values = append(values, n.Code.Value)
	}
	require.Equal(t, []string{"not_held", "not_assessed", "uncertain"}, values)
}

// Every quantity has a concept and a method of its own, and every code of ours stands in the conformance statement.
func TestEveryQuantityHasItsCodes(t *testing.T) {
	page, err := os.ReadFile("../../docs/conformance.md")
	require.NoError(t, err)
	stated := func(c dicomio.Code) {
		require.Equal(t, dicomio.OwnScheme, c.Scheme)
		require.Contains(t, string(page), "| `"+c.Value+"` |")
		require.LessOrEqual(t, len(c.Value), 16, "SH: DICOM PS3.5 6.2")
		require.LessOrEqual(t, len(c.Meaning), 64, "LO: DICOM PS3.5 6.2")
	}
	values := map[string]string{}
	for _, q := range quantity.All() {
		require.NotZero(t, q.Concept, q.Name)
		m := methodOf(q.Name, measure.Mandible)
		stated(m)
		require.Empty(t, values[m.Value], "two quantities of one method")
		values[m.Value] = string(q.Name)
	}
	for _, c := range []dicomio.Code{verdict, margin, measuredTo, caution, conceptOf(quantity.GreyMean)} {
		stated(c)
	}
	for _, v := range []measure.Verdict{measure.NoMargin, measure.Held, measure.Uncertain, measure.NotAssessed, measure.NotHeld} {
		stated(verdictNode("CONTAINS", verdictOf(v)).Code)
	}
}

// parsedObject returns a written object's elements, by a parser that is not ours.
func parsedObject(t *testing.T, data []byte) dicom.Dataset {
	t.Helper()
	set, err := dicom.Parse(bytes.NewReader(data), int64(len(data)), nil)
	require.NoError(t, err)
	return set
}

// valueOf returns an element's value as text; "absent" where it is not there.
func valueOf(set dicom.Dataset, at tag.Tag) string {
	e, err := set.FindElementByTag(at)
	if err != nil {
		return "absent"
	}
	return e.Value.String()
}

// What DICOM says of a patient, a study or a series is the same in all of its objects, and instances are counted.
//
// Source: DICOM PS3.3 A.1.2, C.7.1.1, C.7.2.1, C.7.3.1, C.7.5.1.
func TestWhatASeriesSaysIsTheSameInAllOfIt(t *testing.T) {
	src := sampleSource()
	files, err := viewed(t, sampleCase()).Files(Extra{DICOM: &src})
	require.NoError(t, err)
	files = slices.DeleteFunc(files, func(f File) bool { return !strings.HasPrefix(f.Name, "dicom/") })
	all := each(files, func(f File) dicom.Dataset { return parsedObject(t, f.Data) })
	for _, at := range []tag.Tag{tag.PatientName, tag.PatientID, tag.PatientBirthDate, tag.PatientSex, tag.StudyInstanceUID, tag.StudyDate, tag.StudyTime, tag.StudyID, tag.AccessionNumber, tag.ReferringPhysicianName} {
		for _, set := range all {
			require.Equal(t, valueOf(all[0], at), valueOf(set, at), at)
			require.NotEqual(t, "absent", valueOf(set, at), at)
		}
	}
	drawings := all[1:]
	for i, set := range drawings {
		for _, at := range []tag.Tag{tag.SeriesInstanceUID, tag.SeriesNumber, tag.SeriesDescription, tag.Modality, tag.Manufacturer, tag.SoftwareVersions, tag.BodyPartExamined, tag.Laterality} {
			require.Equal(t, valueOf(drawings[0], at), valueOf(set, at), at)
		}
		require.Equal(t, fmt.Sprintf("[%d]", i+1), valueOf(set, tag.InstanceNumber))
		require.NotEqual(t, valueOf(all[0], tag.SeriesInstanceUID), valueOf(set, tag.SeriesInstanceUID))
	}
	// Measured with another plan, the same scan gives another series: it would have the same numbers in it twice.
	c := sampleCase()
	c.Result.Plan.SHA256 = strings.Repeat("0", 64)
	files, err = viewed(t, c).Captures(sampleSource())
	require.NoError(t, err)
	require.NotEqual(t, valueOf(drawings[0], tag.SeriesInstanceUID), valueOf(parsedObject(t, files[0].Data), tag.SeriesInstanceUID))
}

// Cases of one scan are told apart by their labels, or belong together under one pseudonym; a study has one patient.
func TestCasesAreToldApart(t *testing.T) {
	one := func(label, pseudonym string) (name, id, study string) {
		src := sampleSource()
		src.Pseudonym = pseudonym
		c := sampleCase()
		c.Result.Case = label
		var out bytes.Buffer
		require.NoError(t, viewed(t, c).SR(&out, src))
		set := parsedObject(t, out.Bytes())
		return valueOf(set, tag.PatientName), valueOf(set, tag.PatientID), valueOf(set, tag.StudyInstanceUID)
	}
	name, id, study := one("pine-042", "")
	require.Equal(t, []string{"[pine-042^]", "[pine-042]"}, []string{name, id})
	_, other, elsewhere := one("pine-043", "")
	require.NotEqual(t, id, other)
	require.NotEqual(t, study, elsewhere)
	pseudonym := strings.Repeat("5e", 16)
	name, id, study = one("pine-042", pseudonym)
	require.Equal(t, []string{"[pine-042^]", "[" + pseudonym + "]"}, []string{name, id})
	_, other, elsewhere = one("pine-043", pseudonym)
	require.Equal(t, id, other)
	require.Equal(t, study, elsewhere)
	name, id, _ = one("^a=b^c", "")
	require.Equal(t, []string{"[a b c^]", "[^a=b^c]"}, []string{name, id}, "no components, no other alphabet")
}

// A number that sixteen characters do not hold is an error, never a shorter number.
func TestNumberThatDICOMCannotHold(t *testing.T) {
	for name, spoil := range map[string]func(*measure.Result){
		"value":   func(r *measure.Result) { r.Sites[2].Rows[0].Value = pointer(123456789012.5) },
		"margin":  func(r *measure.Result) { r.Sites[2].Rows[0].Margin = pointer(1e300) },
		"depth":   func(r *measure.Result) { r.Sites[2].Rows[0].At = pointer(-1e17) },
		"spacing": func(r *measure.Result) { r.Scan.Spacing[0] = 1e40 },
	} {
		c := sampleCase()
		spoil(c.Result)
		require.ErrorIs(t, viewed(t, c).SR(io.Discard, sampleSource()), dicomio.ErrValue, name)
	}
	c := sampleCase()
	c.Result.Sites[2].Rows[0].At = pointer(0.1 + 0.2) // 17 digits and a point
	require.NoError(t, viewed(t, c).SR(io.Discard, sampleSource()))
}

func TestObjectsHoldNoIdentityUnlessAsked(t *testing.T) {
	src := sampleSource()
	var sr bytes.Buffer
	require.NoError(t, viewed(t, sampleCase()).SR(&sr, src))
	captures, err := viewed(t, sampleCase()).Captures(src)
	require.NoError(t, err)
	all := sr.String()
	for _, f := range captures {
		all += string(f.Data)
	}
	require.NotContains(t, all, "1.2.826.0.1.3680043.9.9999", "a UID of the source")

	src.Identity = &dicomio.Identity{PatientName: "Invented^Name", PatientID: "X1", PatientBirthDate: "19700101"}
	sr.Reset()
	require.NoError(t, viewed(t, sampleCase()).SR(&sr, src))
	require.Contains(t, sr.String(), "Invented^Name")
	require.Contains(t, sr.String(), src.Study)
}

func TestCapturesHaveNoErrorForDciodvfy(t *testing.T) {
	files, err := viewed(t, sampleCase()).Captures(sampleSource())
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
