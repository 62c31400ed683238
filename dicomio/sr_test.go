package dicomio

import (
	"bytes"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

func sampleTree(text string) Node {
	mm := Code{"mm", "UCUM", "millimeter"}
	return Node{Type: "CONTAINER", Name: Code{"126000", "DCM", "Imaging Measurement Report"}, Template: "1500", Nodes: []Node{
		{Relation: "CONTAINS", Type: "TEXT", Name: Code{"121106", "DCM", "Comment"}, Text: text},
		{Relation: "CONTAINS", Type: "NUM", Name: Code{"121206", "DCM", "Distance"}, Text: "1.5", Code: mm, Nodes: []Node{
			{Relation: "INFERRED FROM", Type: "SCOORD3D", Name: Code{"121055", "DCM", "Path"}, Points: []r3.Vec{{X: 1}, {Y: 2}}},
		}},
	}}
}

func writtenSR(t *testing.T, src Source, text string) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, WriteSR(&out, src, Made{Tool: "test", Version: "1", Date: time.Unix(0, 0)}, sampleTree(text)))
	return out.Bytes()
}

func TestSameReportSameBytes(t *testing.T) {
	require.Equal(t, writtenSR(t, Source{Seed: "a"}, "x"), writtenSR(t, Source{Seed: "a"}, "x"))
	require.NotEqual(t, writtenSR(t, Source{Seed: "a"}, "x"), writtenSR(t, Source{Seed: "b"}, "x"))
}

// The tags of a data set ascend. Source: DICOM PS3.5 7.1.
func TestElementsAscend(t *testing.T) {
	src := Source{Study: "1.2.3", Series: "1.2.4", FrameOfReference: "1.2.5", Images: []string{"1.2.6"}}
	var capture bytes.Buffer
	require.NoError(t, WriteCapture(&capture, src, Made{Tool: "test", Version: "1"}, Capture{Image: image.NewGray(image.Rect(0, 0, 3, 3)), Spacing: 0.1, Title: "odd", Number: 1}))
	for _, file := range [][]byte{writtenSR(t, src, "x"), capture.Bytes()} {
		last := uint32(0)
		for at := 132; at < len(file); {
			tag := uint32(file[at])<<16 | uint32(file[at+1])<<24 | uint32(file[at+2]) | uint32(file[at+3])<<8
			require.Greater(t, tag, last)
			last = tag
			n := 8 + int(file[at+6]) + int(file[at+7])<<8
			if strings.Contains("OB OW SQ UT UN", string(file[at+4:at+6])) {
				n = 12 + int(file[at+8]) + int(file[at+9])<<8 + int(file[at+10])<<16
			}
			at += n
		}
	}
}

// Hostile text cannot end a value or split it: the file stays one that the outside reader accepts.
func TestHostileTextStaysInItsElement(t *testing.T) {
	dump := tool(t, "dcmdump")
	file := filepath.Join(t.TempDir(), "sr.dcm")
	for _, text := range []string{"a\\b\x00\x1b$)C\xff", strings.Repeat("長", 5000), ""} {
		require.NoError(t, os.WriteFile(file, writtenSR(t, Source{}, text), 0o600))
		out, err := exec.Command(dump, "-q", file).CombinedOutput()
		require.NoError(t, err, string(out))
	}
}
