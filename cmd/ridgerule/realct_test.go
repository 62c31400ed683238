package main

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
)

// The main job on a real CT of edentulous jaws, 1 × 1 × 3 mm: the sites of the plan read off its
// slices have a height and widths, or say why not (the thin crest at 41 is beyond such voxels); what
// is not marked is not assessed, and the coarse voxels are said. The data is public and not in this
// repository.
func TestRealCTIsMeasured(t *testing.T) {
	dir := realCT(t)
	result := filepath.Join(dir, "result")
	var stdout, stderr bytes.Buffer
	code := run([]string{"measure", filepath.Join(dir, "pt_1"), "--plan", filepath.Join(repository, "testdata", "real-ct", "plan.yaml"), "-o", result}, &stdout, &stderr)
	require.Equal(t, exitDone, code, stderr.String())
	f, err := os.Open(filepath.Join(result, "measurements.csv"))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	heights, widths, open := map[string]bool{}, map[string]bool{}, 0
	asked := map[string]bool{}
	for _, r := range rows[1:] {
		if r[3] == "ridge_height" || r[3] == "ridge_width" {
			asked[r[1]] = true
			assert.True(t, r[6] != "" || r[12] != "", "%s %s has neither a number nor a reason", r[1], r[3])
		}
		switch {
		case r[3] == "ridge_height" && r[6] != "":
			heights[r[1]] = true
		case r[3] == "ridge_width" && r[6] != "":
			widths[r[1]] = true
		case r[3] == "clearance" && r[11] == "not assessed":
			open++
		}
	}
	assert.Len(t, asked, 7)
	assert.GreaterOrEqual(t, len(heights), 6)
	assert.GreaterOrEqual(t, len(widths), 6)
	assert.Positive(t, open, "the canals are not marked")
	page, err := os.ReadFile(filepath.Join(result, "report.html"))
	require.NoError(t, err)
	assert.Contains(t, string(page), "coarser than the 0.4 mm")
}

// realCT unpacks the CT into a folder, as pt_1.
func realCT(t *testing.T) (dir string) {
	t.Helper()
	archive := filepath.Join(repository, "..", "shared", "data", "pycerr-head-neck-ct", "pt_1.tar.xz")
	if _, err := os.Stat(archive); err != nil {
		t.Skip("the public head-and-neck CT is not here: " + archive)
	}
	if _, err := exec.LookPath("xz"); err != nil {
		t.Skip("xz is not here")
	}
	dir = t.TempDir()
	out, err := exec.Command("tar", "xJf", archive, "-C", dir).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return dir
}

// On the same CT a lower jaw is proposed. From the right premolars to the left first molar, seen along the head, its arch passes
// within 2 mm of the points that were read off the slices to about a voxel of 1 mm.
func TestRealCTGetsAProposal(t *testing.T) {
	dir := realCT(t)
	path := filepath.Join(dir, "proposed.yaml")
	var stdout, stderr bytes.Buffer
	require.Equal(t, exitDone, run([]string{"propose", filepath.Join(dir, "pt_1"), "-o", path}, &stdout, &stderr), stderr.String())
	proposed, _, err := plan.Open(path)
	require.NoError(t, err)
	assert.Equal(t, plan.Mandible, proposed.Jaw)
	hand, _, err := plan.Open(filepath.Join(repository, "testdata", "real-ct", "plan.yaml"))
	require.NoError(t, err)
	for i, p := range hand.Arch[3:13] {
		x, y := 1+p.X, -511+p.Y // columns and rows of 1 mm; the first voxel lies at (1, −511)
		least := math.Inf(1)
		for j := 1; j < len(proposed.Arch); j++ {
			for f := 0.0; f <= 1; f += 0.05 {
				q := r3.Add(proposed.Arch[j-1], r3.Scale(f, r3.Sub(proposed.Arch[j], proposed.Arch[j-1])))
				least = math.Min(least, math.Hypot(q.X-x, q.Y-y))
			}
		}
		assert.Less(t, least, 2.0, "point %d", i+4)
	}
}
