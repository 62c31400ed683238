package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The main job on a real CT of edentulous jaws, 1 × 1 × 3 mm: the sites of the plan read off its
// slices have a height and widths, or say why not (the thin crest at 41 is beyond such voxels); what
// is not marked is not assessed, and the coarse voxels are said. The data is public and not in this
// repository.
func TestRealCTIsMeasured(t *testing.T) {
	archive := filepath.Join(repository, "..", "shared", "data", "pycerr-head-neck-ct", "pt_1.tar.xz")
	if _, err := os.Stat(archive); err != nil {
		t.Skip("the public head-and-neck CT is not here: " + archive)
	}
	if _, err := exec.LookPath("xz"); err != nil {
		t.Skip("xz is not here")
	}
	dir := t.TempDir()
	out, err := exec.Command("tar", "xJf", archive, "-C", dir).CombinedOutput()
	require.NoError(t, err, "%s", out)
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
