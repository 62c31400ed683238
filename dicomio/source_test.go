package dicomio

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/volume"
)

// Exports name files and folders after patients: messages must not.
func TestNamesOfFilesAreNotTold(t *testing.T) {
	for name, want := range map[string]string{
		"IM0042.dcm":                      "IM0042.dcm",
		"PA000001/ST0/SE12/IM7":           "PA000001/ST0/SE12/IM7",
		"DICOMDIR":                        "DICOMDIR",
		"17":                              "17",
		"Zoë_Quill/IM1.dcm":               "…/IM1.dcm",
		"Quill^Zoë_0042.dcm":              "…0042.dcm",
		"19340102.dcm":                    "…",
		"QUILL19340102/slice 3":           "…/slice 3",
		"1.2.840.99.7.dcm":                "…7.dcm",
		"クイル.dcm":                         "….dcm",
		"IM0042.dcm.Quill":                "…",
		"ct_19340102":                     "…",
		"scan\nQuill.dcm":                 "….dcm",
		strings.Repeat("Quill/", 3) + "1": "…/…/…/1",
	} {
		if got := called(name); got != want {
			t.Errorf("called(%q) = %q, want %q", name, got, want)
		}
	}
	e := &SeriesError{File: "Quill^Zoë/a.dcm", Problem: "is cut short"}
	if strings.Contains(e.Error(), "Quill") || e.File != "Quill^Zoë/a.dcm" {
		t.Errorf("%v", e)
	}
}

// written writes a small synthetic series and scans it.
func written(t *testing.T, o WriteOptions) *Series {
	t.Helper()
	v, err := volume.New(volume.Grid{Size: [3]int{4, 4, 4}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "scan")
	if err := WriteCT(dir, v, o); err != nil {
		t.Fatal(err)
	}
	input, err := Open(dir, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { input.Close() })
	found, err := Scan(context.Background(), input, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return found.Series[0]
}

func TestWhatIsWrittenIsSyntheticAndScansAreNot(t *testing.T) {
	if s := written(t, WriteOptions{Comment: "anything else"}); !s.Synthetic {
		t.Error("a series of WriteCT is not synthetic")
	}
	fsys := folder()
	for k, c := range craft.Stack(4) {
		if k > 0 { // one file without the words is enough
			c.Set(0x00120063, "LO", syntheticMark)
		}
		add(fsys, "IM"+string(rune('1'+k)), c.Bytes())
	}
	s, err := scanned(t, fsys)
	if err != nil || s.Series[0].Synthetic {
		t.Errorf("synthetic by three files of four; %v", err)
	}
}

// Objects written from the source with its UIDs replaced are those that the source gives without identity.
func TestDeidentifiedSourceWritesTheSame(t *testing.T) {
	src := written(t, WriteOptions{}).Source()
	if src.Study == "" || src.Series == "" || src.FrameOfReference == "" || len(src.Images) != 4 || src.Identity == nil {
		t.Fatalf("%+v", src)
	}
	safe := src.Deidentified()
	root := Node{Type: "CONTAINER", Name: Code{"126000", "DCM", "Imaging Measurement Report"},
		Nodes: []Node{{Relation: "CONTAINS", Type: "SCOORD3D", Name: Code{"121055", "DCM", "Path"}, Points: []r3.Vec{{}}}}}
	src.Identity = nil
	var a, b bytes.Buffer
	if err := WriteSR(&a, src, Made{}, root); err != nil {
		t.Fatal(err)
	}
	if err := WriteSR(&b, safe, Made{}, root); err != nil {
		t.Fatal(err)
	}
	for _, uid := range []string{safe.Study, safe.Series, safe.FrameOfReference, safe.Images[3]} {
		if !bytes.Contains(a.Bytes(), []byte(uid)) || !bytes.Contains(b.Bytes(), []byte(uid)) {
			t.Errorf("%s is not in both objects", uid)
		}
	}
	for _, uid := range append(src.Images, src.Study, src.Series, src.FrameOfReference) {
		if bytes.Contains(b.Bytes(), []byte(uid)) {
			t.Errorf("%s is in the object", uid)
		}
	}
	if again := safe.Deidentified(); again.Study != safe.Study || again.Images[0] != safe.Images[0] {
		t.Error("replaced twice")
	}
}
