package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/measure"
)

// A result's hash is that of its bytes with the 64 digits written as zeros, counted here from its words in the contract; a
// changed byte is found, and so is a changed picture or surface beside it.
func TestResultKnowsItsContent(t *testing.T) {
	c := sampleCase()
	c.Surfaces = []File{{"surfaces/bone-36.stl", []byte("solid")}}
	files, err := filesOf(c)
	require.NoError(t, err)
	folder, kept := fstest.MapFS{}, 0
	for _, f := range files {
		folder[f.Name] = &fstest.MapFile{Data: f.Data}
		if strings.HasPrefix(f.Name, "pictures/") || strings.HasPrefix(f.Name, "surfaces/") {
			kept++
		}
	}
	data := folder["result.json"].Data
	var said struct {
		Content string            `json:"content_sha256"`
		Files   map[string]string `json:"files"`
	}
	require.NoError(t, json.Unmarshal(data, &said))
	zeros := strings.Replace(string(data), said.Content, strings.Repeat("0", 64), 1)
	sum := sha256.Sum256([]byte(zeros))
	require.Equal(t, hex.EncodeToString(sum[:]), said.Content)
	require.Len(t, said.Files, kept)
	for name, hash := range said.Files {
		sum := sha256.Sum256(folder[name].Data)
		require.Equal(t, hex.EncodeToString(sum[:]), hash, name)
	}

	_, p, err := ReadJSON(bytes.NewReader(data))
	require.NoError(t, err)
	changed, err := p.Changed(folder)
	require.NoError(t, err)
	require.Empty(t, changed)
	folder["surfaces/bone-36.stl"].Data = []byte("SOLID")
	delete(folder, "pictures/panoramic.png")
	changed, err = p.Changed(folder)
	require.NoError(t, err)
	require.Equal(t, []string{"surfaces/bone-36.stl"}, changed, "and what is not there is not changed")

	edited := regexp.MustCompile(`"verdict": "[a-z ]+"`).ReplaceAll(data, []byte(`"verdict": "held"`))
	require.NotEqual(t, data, edited)
	r, _, err := ReadJSON(bytes.NewReader(edited))
	require.ErrorIs(t, err, ErrChanged)
	require.NotNil(t, r)
}

// What was changed by hand and taken all the same says so on every page and picture, and in every later result.
func TestEditedResultSaysSoEverywhere(t *testing.T) {
	c := sampleCase()
	MarkEdited(c.Result)
	MarkEdited(c.Result)
	files, err := filesOf(c)
	require.NoError(t, err)
	seen := 0
	for _, f := range files {
		switch {
		case f.Name == "report.html", f.Name == "arch.svg", f.Name == "datapackage.json":
			assert.Contains(t, string(f.Data), editedCaution, f.Name)
			seen++
		case f.Name == "result.json":
			assert.Equal(t, 1, strings.Count(string(f.Data), `"edited"`))
			r, _, err := ReadJSON(bytes.NewReader(f.Data))
			require.NoError(t, err, "it is as it was written now")
			assert.Contains(t, markOf(r), editedCaution)
		}
	}
	assert.Equal(t, 3, seen)
}

// Who reviewed the plan stands on every page, picture and object, or that the review is void; result.json is the same byte for byte.
func TestReviewStandsOnEveryOutput(t *testing.T) {
	plain, err := filesOf(sampleCase())
	require.NoError(t, err)
	before := func(name string) []byte {
		return plain[slices.IndexFunc(plain, func(f File) bool { return f.Name == name })].Data
	}
	for said, r := range map[string]*measure.Reviewed{
		"Reviewed by A. Reviewer, oral surgeon, 2026-03-04.":                                       {By: "A. Reviewer", Role: "oral surgeon", At: "2026-03-04T10:42:07Z"},
		"Review void since the plan was changed: it was by A. Reviewer, oral surgeon, 2026-03-04.": {By: "A. Reviewer", Role: "oral surgeon", At: "2026-03-04T10:42:07Z", Void: "the plan was changed"},
	} {
		c := sampleCase()
		c.Result.Plan.Review = r
		files, err := filesOf(c)
		require.NoError(t, err)
		v, err := NewView(c)
		require.NoError(t, err)
		assert.Contains(t, v.page.Mark, said, "PDF, day sheet and DICOM write it with the case's name")
		seen := 0
		for _, f := range files {
			switch {
			case f.Name == "report.html", f.Name == "datapackage.json", f.Name == "review.json":
				assert.Contains(t, string(f.Data), said, f.Name)
				seen++
			case f.Name == "result.json":
				assert.Equal(t, string(before(f.Name)), string(f.Data), "a review changes no result")
				seen++
			case f.Name == "arch.svg", f.Name == "panoramic.png", strings.HasPrefix(f.Name, "sections/"):
				assert.False(t, bytes.Equal(before(f.Name), f.Data), "%s says nothing of it", f.Name)
				seen++
			}
		}
		assert.GreaterOrEqual(t, seen, 6)
		readAgain(t, files, r, c)
	}
}

// On paper and in the DICOM report it stands with the case's name.
func TestReviewStandsOnPaperAndInTheDICOMReport(t *testing.T) {
	c := sampleCase()
	for void, said := range map[string]string{
		"":                     "Reviewed by A. Reviewer, oral surgeon, 2026-03-04.",
		"arch.csv was changed": "Review void since arch.csv was changed: it was by A. Reviewer, oral surgeon, 2026-03-04.",
	} {
		c.Result.Plan.Review = &measure.Reviewed{By: "A. Reviewer", Role: "oral surgeon", At: "2026-03-04T10:42:07Z", Void: void}
		for name, text := range firstPages(t, c) {
			assert.Contains(t, text, said, name)
		}
	}
}

// readAgain holds that a result which is read again with what lies beside it knows its review; that of another result, or of
// one that was changed by hand, is void; and that garbage is refused.
func readAgain(t *testing.T, files []File, r *measure.Reviewed, c Case) {
	t.Helper()
	folder := fstest.MapFS{}
	for _, f := range files {
		folder[f.Name] = &fstest.MapFile{Data: f.Data}
	}
	got, p, err := ReadJSON(bytes.NewReader(folder["result.json"].Data))
	require.NoError(t, err)
	require.NoError(t, ReadReview(folder, got, p.Content))
	assert.Equal(t, r, got.Plan.Review)
	c.Result, c.Provenance = got, p
	again, err := filesOf(c)
	require.NoError(t, err)
	assert.Equal(t, files, again, "the same bytes")
	void := *r
	if r.Void == "" {
		void.Void = "the result was changed"
	}
	require.NoError(t, ReadReview(folder, got, strings.Repeat("ab", 32)))
	assert.Equal(t, &void, got.Plan.Review)
	MarkEdited(got)
	require.NoError(t, ReadReview(folder, got, p.Content))
	assert.Equal(t, &void, got.Plan.Review)
	delete(folder, "review.json")
	got.Plan.Review = nil
	require.NoError(t, ReadReview(folder, got, p.Content))
	assert.Nil(t, got.Plan.Review, "nobody reviewed it")
	for _, wrong := range []string{"", "{", "[]", `{"format": 2, "by": "A", "result_sha256": "a"}`, `{"format": 1, "result_sha256": "a"}`, `{"format": 1, "by": "A"}`, `{"format": 1, "by": "A", "result_sha256": "a", "more": 1}`} {
		folder["review.json"] = &fstest.MapFile{Data: []byte(wrong)}
		require.ErrorIs(t, ReadReview(folder, got, p.Content), ErrReview, wrong)
	}
}
