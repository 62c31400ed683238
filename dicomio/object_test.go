package dicomio

import (
	"bytes"
	"errors"
	"image"
	"io"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/volume"
)

// The value is that of Python 3.11's hmac and hashlib over the same four fields parted by zero bytes.
func TestPseudonymIsTheHMACOfThePatient(t *testing.T) {
	key := make([]byte, 32)
	for i := range key {
		key[i] = byte(i)
	}
	id := Identity{PatientID: "QX-7", IssuerOfPatientID: "Klinik", PatientName: "Quill^Zoë=久井流", PatientBirthDate: "19340102", StudyDate: "20210917"}
	const want = "f6d71e584b96546cb192695115129794"
	same := id
	same.PatientName, same.PatientBirthDate, same.StudyDate = "QUILL^Zoë^^=久井流", "1934.01.02", "20220101"
	for _, id := range []Identity{id, same} {
		if got, err := id.Pseudonym(key); got != want || err != nil {
			t.Errorf("%q, %v; want %q", got, err, want)
		}
	}
	seen := map[string]bool{want: true}
	for _, other := range []Identity{{PatientID: "QX-8"}, {PatientID: "QX-7"}, {PatientName: "QX-7"}, {PatientID: "QX-7", PatientBirthDate: "19340103"}} {
		got, err := other.Pseudonym(key)
		if err != nil || seen[got] {
			t.Errorf("%+v: %q again, %v", other, got, err)
		}
		seen[got] = true
	}
	key[0]++
	if got, _ := id.Pseudonym(key); seen[got] {
		t.Error("the same under another key")
	}
	for _, nobody := range []Identity{{}, {PatientName: "^^", PatientBirthDate: "19340102"}} {
		if got, err := nobody.Pseudonym(key); !errors.Is(err, ErrNoPatient) || got != "" {
			t.Errorf("nobody has the pseudonym %q, %v", got, err)
		}
	}
}

// invented is an identity that has something in every attribute of patient and study, some of it against the rules.
func invented() Identity {
	id := Identity{SeriesDescription: "not of the study", InstitutionName: "nor this"}
	for _, a := range identifying {
		*a.of(&id) = map[string]string{"DA": "19340102", "TM": "235959.5", "AS": "090Y", "DS": "1.7", "CS": "W"}[a.vr]
		if *a.of(&id) == "" {
			*a.of(&id) = "Zoë " + strings.Repeat("長", 70) + a.tag.String()
		}
	}
	return id
}

// With identity an object says of patient and study what the source says, to the letter: read from a series and written,
// it reads the same.
func TestObjectsHaveTheSourcesPatientAndStudy(t *testing.T) {
	want := invented()
	fsys := folder()
	for k, c := range craft.Stack(4) {
		c.Set(0x00080005, "CS", "ISO_IR 192")
		for _, a := range identifying {
			c.Set(a.number(), a.vr, *a.of(&want))
		}
		add(fsys, "IM"+string(rune('1'+k)), c.Bytes())
	}
	found, err := scanned(t, fsys)
	if err != nil {
		t.Fatal(err)
	}
	src := found.Series[0].Source()
	src.Label, src.Pseudonym = "pine-042", "0123"
	var sr, capture bytes.Buffer
	if err := errors.Join(WriteSR(&sr, src, Made{}, sampleTree("x")), WriteCapture(&capture, src, Made{}, Capture{Image: image.NewGray(image.Rect(0, 0, 2, 2)), Number: 1})); err != nil {
		t.Fatal(err)
	}
	for _, data := range [][]byte{sr.Bytes(), capture.Bytes()} {
		a, err := parse(data)
		if err != nil {
			t.Fatal(err)
		}
		got := readIdentity(a)
		got.SeriesDescription, got.InstitutionName = want.SeriesDescription, want.InstitutionName
		if !reflect.DeepEqual(got, want) {
			t.Errorf("got\n%+v\nwant\n%+v", got, want)
		}
	}
}

// Break the rule: a NaN written as 0, a coordinate beyond 32 bits as infinity, a number cut to 16 characters.
func TestWhatDICOMCannotHoldIsAnError(t *testing.T) {
	num := func(text string) Node {
		return Node{Relation: "CONTAINS", Type: "NUM", Name: Code{"121206", "DCM", "Distance"}, Text: text, Code: Code{"mm", "UCUM", "millimeter"}}
	}
	for _, n := range []Node{num("12345678901.12345"), num("1,5"), num("NaN"), num("0x1p3"),
		{Relation: "CONTAINS", Type: "CONTAINER", Nodes: []Node{{Relation: "CONTAINS", Type: "SCOORD3D", Points: []r3.Vec{{X: 1e39}}}}},
		{Relation: "CONTAINS", Type: "SCOORD3D", Points: []r3.Vec{{Y: math.NaN()}}}} {
		var out bytes.Buffer
		if err := WriteSR(&out, Source{}, Made{}, Node{Type: "CONTAINER", Nodes: []Node{n}}); !errors.Is(err, ErrValue) || out.Len() > 0 {
			t.Errorf("%+v: %v, %d bytes written", n, err, out.Len())
		}
	}
	for _, spacing := range []float64{math.NaN(), math.Inf(1)} {
		if err := WriteCapture(io.Discard, Source{}, Made{}, Capture{Image: image.NewGray(image.Rect(0, 0, 2, 2)), Spacing: spacing}); !errors.Is(err, ErrValue) {
			t.Errorf("spacing %g: %v", spacing, err)
		}
	}
	v := awkward()
	v.Rescale = []volume.Rescale{{Slope: math.NaN()}}
	if err := WriteCT(t.TempDir(), v, WriteOptions{}); err == nil {
		t.Error("a volume with a slope of NaN was written")
	}
}

// Two volumes are two patients, and one written again is the same.
func TestSyntheticVolumesAreToldApart(t *testing.T) {
	one, again, other := written(t, WriteOptions{}), written(t, WriteOptions{}), written(t, WriteOptions{Seed: 1})
	if one.Identity.PatientID != again.Identity.PatientID || one.Identity.PatientID == other.Identity.PatientID {
		t.Error(one.Identity.PatientID, again.Identity.PatientID, other.Identity.PatientID)
	}
}

// FuzzObject writes objects of hostile labels, identities, texts and numbers: they are refused, or parse to their end with
// one value an element and no text longer than its kind allows.
func FuzzObject(f *testing.F) {
	f.Add("pine-042", "", "Quill^Zoë", "19340102", "a comment", "1.25", 0.1, false)
	f.Add(`^=\`, "00ff", "\x1b$B\x00", "x", strings.Repeat("長\r\n", 300), "1e400", math.Inf(1), true)
	f.Fuzz(func(t *testing.T, label, pseudonym, name, date, text, number string, x float64, identified bool) {
		src := Source{Study: "1.2.3", Images: []string{"1.2.4"}, Label: label, Pseudonym: pseudonym, Seed: text}
		if identified {
			src.Identity = &Identity{PatientName: name, PatientID: text, PatientBirthDate: date, PatientComments: text, StudyID: number}
		}
		root := Node{Type: "CONTAINER", Name: Code{text, label, name}, Nodes: []Node{
			{Relation: "CONTAINS", Type: "TEXT", Name: Code{"121106", "DCM", "Comment"}, Text: text},
			{Relation: "CONTAINS", Type: "NUM", Name: Code{"121206", "DCM", "Distance"}, Text: number, Code: Code{"mm", "UCUM", "millimeter"}},
			{Relation: "CONTAINS", Type: "SCOORD3D", Name: Code{"121055", "DCM", "Path"}, Points: []r3.Vec{{X: x}}},
			{Relation: "CONTAINS", Type: "IMAGE", Name: Code{"260753009", "SCT", "Source"}, Text: "1.2.4"},
		}}
		made := Made{Tool: name, Version: label, Date: time.Unix(int64(len(text)), 0)}
		var sr, capture bytes.Buffer
		for _, err := range []error{WriteSR(&sr, src, made, root), WriteCapture(&capture, src, made, Capture{Image: image.NewGray(image.Rect(0, 0, 3, 1)), Spacing: x, Title: text, Series: label, Number: 7})} {
			if err != nil && !errors.Is(err, ErrValue) {
				t.Fatal(err)
			}
		}
		for _, data := range [][]byte{sr.Bytes(), capture.Bytes()} {
			if len(data) > 0 {
				wholeObject(t, data, identified)
			}
		}
	})
}

// wholeObject holds that a parser that is not ours reads the object to its end, and that our own texts fit.
func wholeObject(t *testing.T, data []byte, identified bool) {
	t.Helper()
	set, err := dicom.Parse(bytes.NewReader(data), int64(len(data)), nil)
	if err != nil {
		t.Fatal(err)
	}
	for e := range set.FlatIterator() {
		values, ok := e.Value.GetValue().([]string)
		if !ok || identified && (e.Tag.Group == 0x0010 || e.Tag.Group == 0x0008 || e.Tag == tag.StudyID) {
			continue // the source's own faults stay
		}
		most := map[string]int{"LO": 64, "SH": 16, "PN": 65, "CS": 16, "DS": 16, "IS": 12, "UI": 64}[e.RawValueRepresentation]
		for _, v := range values {
			if most > 0 && len([]rune(v)) > most {
				t.Fatalf("%v %s: %q", e.Tag, e.RawValueRepresentation, v)
			}
		}
		if len(values) > 1 && e.RawValueRepresentation != "DS" && !paragraphs[e.RawValueRepresentation] { // in those the parser parts what the standard does not
			t.Fatalf("%v: %q", e.Tag, values)
		}
	}
}
