package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/dicomio/craft"
	"ridgerule/measure"
)

// The rows of the table of tricky series, by their numbers, through inspect and measure: what is read is measured as
// the untroubled series is, its caution goes into the result, and what is refused is refused with one clear sentence
// by both, nothing left behind. Package dicomio holds each row's details; here is what a user meets.

// tricky is a row: files in a folder, and what the two verbs make of them.
type tricky struct {
	row   int
	name  string
	files maker
	args  []string // more for measure

	inspect, measure int      // exit status
	says             []string // what the refusal says; of a series that is read, what inspect's list says
	cautions         []string // codes
	within           float64  // of the untroubled heights and widths, mm; 0 means: every number the same
}

// maker fills a folder and returns the path to measure.
type maker func(t *testing.T, dir string) string

// read is a row that is read: the same numbers, no caution.
func read(row int, name string, files maker) tricky {
	return tricky{row: row, name: name, files: files}
}

func (r tricky) caution(codes ...string) tricky { r.cautions = codes; return r }
func (r tricky) near(mm float64) tricky         { r.within = mm; return r }
func (r tricky) list(words ...string) tricky    { r.says = words; return r }
func (r tricky) with(args ...string) tricky     { r.args = args; return r }

// refuse is a row that both verbs refuse.
func refuse(row int, name string, files maker, words ...string) tricky {
	return tricky{row: row, name: name, files: files, inspect: exitSeries, measure: exitSeries, says: words}
}

// late is a row that only measure refuses: there is a choice to make, or the fault lies in pixels that inspect does not read.
func late(row int, name string, files maker, words ...string) tricky {
	return tricky{row: row, name: name, files: files, measure: exitSeries, says: words}
}

const ridgePlan = `format: 1
case: row
jaw: mandible
arch: {points: [[-8, 0, 38], [-3, 0, 38], [3, 0, 38], [8, 0, 38]]}
sites:
  - {tooth: "31", at: [1, 0, 38], height_to: border, axis: occlusal, depths_mm: [1, 3, 5]}
`

func TestTrickySeriesThroughBothVerbs(t *testing.T) {
	rows := slices.Concat(rowsOfPlace(), rowsOfValues(), rowsOfEncoding(), rowsOfHarm(), rowsOfDoors())
	t.Run("rows", func(t *testing.T) {
		for _, r := range rows {
			t.Run(fmt.Sprintf("%02d %s", r.row, r.name), func(t *testing.T) {
				t.Parallel()
				r.check(t)
			})
		}
	})
	seen := map[int]bool{36: true, 43: true} // tests of their own
	for _, r := range rows {
		seen[r.row] = true
	}
	for row := 1; row <= 45; row++ {
		assert.True(t, seen[row], "row %d has no test", row)
	}
}

func (r tricky) check(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "scan")
	require.NoError(t, os.Mkdir(dir, 0o700))
	path := r.files(t, dir)
	codes, texts := r.checkInspect(t, path)
	work := t.TempDir()
	got := measured(t, path, work, r.args...)
	require.Equal(t, r.measure, got.status, got.stderr)
	if r.measure != exitDone {
		r.refusal(t, got.stderr)
		left, err := os.ReadDir(work)
		require.NoError(t, err)
		assert.Empty(t, left, "left behind")
		return
	}
	assert.ElementsMatch(t, append([]string{"coarse_voxels"}, r.cautions...), codes) // the slab's voxels are of 0.5 mm
	for _, text := range texts {
		assert.Contains(t, got.cautions, text, "cautions of result.json")
		assert.Contains(t, got.stderr, "caution: "+text)
	}
	want := untroubled(t)
	assert.Len(t, got.cautions, len(texts), "%q", got.cautions)
	r.sameNumbers(t, want, got)
}

// checkInspect returns the cautions of the series that is measured.
func (r tricky) checkInspect(t *testing.T, path string) (codes, texts []string) {
	stdout, stderr, status := ran(t, "inspect", path)
	require.Equal(t, r.inspect, status, stderr)
	if status != exitDone {
		r.refusal(t, stderr+stdout)
		assert.LessOrEqual(t, strings.Count(stderr, "\n"), 1, "one sentence: %s", stderr)
	}
	if r.measure == exitDone {
		for _, w := range r.says {
			assert.Contains(t, stdout, w)
		}
	}
	asJSON, _, again := ran(t, "inspect", path, "--json")
	assert.Equal(t, status, again)
	if asJSON == "" {
		return nil, nil
	}
	var list struct{ Series []seriesView }
	require.NoError(t, json.Unmarshal([]byte(asJSON), &list))
	number := 0
	if len(r.args) == 2 { // --series N
		number, _ = strconv.Atoi(r.args[1])
	}
	for _, s := range list.Series {
		if len(s.Problems) > 0 || number > 0 && s.Number != number {
			continue
		}
		for _, c := range s.Cautions {
			codes, texts = append(codes, c.Code), append(texts, c.Text)
		}
	}
	return codes, texts
}

// sentence is the form of a refusal: what is wrong, and after a semicolon what to do.
var sentence = regexp.MustCompile(`(?m)^ridgerule: .+; \w+.* \w+.*$`)

func (r tricky) refusal(t *testing.T, text string) {
	t.Helper()
	for _, w := range r.says {
		assert.Contains(t, text, w)
	}
	if strings.HasPrefix(text, "ridgerule: ") && r.measure == exitSeries {
		assert.Regexp(t, sentence, text)
	}
}

// outcome is what measure left.
type outcome struct {
	status   int
	stderr   string
	cautions []string
	table    [][]string
}

// measured runs measure, its output folder the only entry of work.
func measured(t *testing.T, path, work string, args ...string) outcome {
	t.Helper()
	plan := filepath.Join(t.TempDir(), "plan.yaml")
	require.NoError(t, os.WriteFile(plan, []byte(ridgePlan), 0o600))
	out := filepath.Join(work, "out")
	var got outcome
	_, got.stderr, got.status = ran(t, append([]string{"measure", path, "--plan", plan, "-o", out}, args...)...)
	if got.status != exitDone {
		assert.Equal(t, 1, strings.Count(got.stderr, "\n"), "one sentence: %s", got.stderr)
		return got
	}
	anonymous(t, out)
	data, err := os.ReadFile(filepath.Join(out, "result.json"))
	require.NoError(t, err)
	var result struct {
		Cautions []measure.Caution
		Scan     struct{ Cautions []measure.Caution }
	}
	require.NoError(t, json.Unmarshal(data, &result))
	got.cautions = texts(result.Scan.Cautions)
	assert.Subset(t, result.Cautions, result.Scan.Cautions)
	f, err := os.Open(filepath.Join(out, "measurements.csv"))
	require.NoError(t, err)
	defer f.Close()
	got.table, err = csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	return got
}

// ran runs a command line in this process, and holds what it prints: no panic, nobody's name.
func ran(t *testing.T, args ...string) (stdout, stderr string, status int) {
	t.Helper()
	var out, err bytes.Buffer
	status = run(args, &out, &err)
	require.NotContains(t, err.String(), "unexpected failure")
	assert.NotContains(t, err.String(), "dicomio")
	nobody(t, args[0], out.Bytes(), err.Bytes())
	return out.String(), err.String(), status
}

func nobody(t *testing.T, what string, texts ...[]byte) {
	t.Helper()
	for _, secret := range []string{craft.PatientName, "Secret", craft.PatientID, craft.PatientBirthDate} {
		for _, text := range texts {
			assert.False(t, bytes.Contains(text, []byte(secret)), "%s tells %s", what, secret)
		}
	}
}

func anonymous(t *testing.T, dir string) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		nobody(t, d.Name(), data)
		return err
	}))
}

// sameNumbers holds the table of measurements against the untroubled one.
func (r tricky) sameNumbers(t *testing.T, want, got outcome) {
	t.Helper()
	if r.within == 0 {
		assert.Equal(t, want.table, got.table)
		return
	}
	require.Len(t, got.table, len(want.table))
	for i, w := range want.table {
		if g := got.table[i]; w[3] == "ridge_height" || w[3] == "ridge_width" {
			a, err := strconv.ParseFloat(w[6], 64)
			require.NoError(t, err)
			b, err := strconv.ParseFloat(g[6], 64)
			require.NoError(t, err, "%v", g)
			assert.InDelta(t, a, b, r.within, "%s at %s", w[3], w[4])
		}
	}
}

var (
	untroubledOnce sync.Once
	untroubledCase outcome
)

// untroubled returns what measure makes of the plain series: a ridge 6 mm wide and 8 mm high, by construction.
func untroubled(t *testing.T) outcome {
	t.Helper()
	untroubledOnce.Do(func() {
		dir := t.TempDir()
		untroubledCase = measured(t, whole(nil)(t, dir), t.TempDir())
	})
	require.Equal(t, exitDone, untroubledCase.status, untroubledCase.stderr)
	return untroubledCase
}

// The ridge's own numbers, so that all the rows cannot agree on a wrong one: half a voxel is the tolerance, as the wall
// is laid between voxel centres and the crest is a sharp edge.
func TestUntroubledRidgeIsMeasuredAsMade(t *testing.T) {
	widths := 0
	for _, r := range untroubled(t).table[1:] {
		value, _ := strconv.ParseFloat(r[6], 64)
		switch r[3] {
		case "ridge_width":
			widths++
			assert.InDelta(t, 2*slabHalfWidth, value, 0.25, "at %s mm", r[4])
		case "ridge_height":
			assert.InDelta(t, slabTop-slabBottom, value, 0.25)
		}
	}
	assert.Equal(t, 3, widths)
}

// texts returns what the cautions say.
func texts(all []measure.Caution) []string {
	var out []string
	for _, c := range all {
		out = append(out, c.Text)
	}
	return out
}
