package plan

import (
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A review stands while plan, series and every file that the plan names are what was reviewed, and no longer.
func TestReviewIsVoidWhenWhatWasReviewedChanged(t *testing.T) {
	const reviewed = "format: 1\ncase: a\njaw: maxilla\narch: {file: arch.csv}\nsites: [{tooth: 16, arc_mm: 5}]\n"
	read := func(text, arch string) *Plan {
		p, _, err := Read("plan.yaml", []byte(text), fstest.MapFS{"arch.csv": {Data: []byte(arch)}})
		require.NoError(t, err)
		return p
	}
	const arch = "x,y,z\n-25,20,0\n-20,0,0\n20,0,0\n25,20,0\n"
	then := read(reviewed, arch)
	require.Contains(t, then.Files, "arch.csv")
	r := &Review{PlanSHA256: then.SHA256, Series: "one", Files: then.Files}
	assert.Empty(t, r.Void(then.Contents, "one"))
	assert.Empty(t, r.Void(read(strings.ReplaceAll(reviewed, "\n", "\r\n"), arch).Contents, "one"), "line ends change nothing")
	assert.Equal(t, "the plan was changed", r.Void(read(strings.Replace(reviewed, "arc_mm: 5", "arc_mm: 6", 1), arch).Contents, "one"))
	assert.Equal(t, "it was of another series", r.Void(then.Contents, "other"))
	assert.Equal(t, "arch.csv was changed", r.Void(read(reviewed, strings.Replace(arch, "20,0,0", "20,0.001,0", 1)).Contents, "one"))
	assert.Equal(t, "arch.csv was changed", (&Review{PlanSHA256: then.SHA256, Series: "one"}).Void(then.Contents, "one"), "nobody looked at that file")
}
