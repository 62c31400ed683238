package report

import (
	"bytes"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/dicomio"
	"ridgerule/measure"
)

// firstPages returns the text of what a reader sees first, by medium: page, PDF, day sheet, SR.
func firstPages(t *testing.T, c Case) map[string]string {
	t.Helper()
	var pdf, day bytes.Buffer
	require.NoError(t, viewed(t, c).PDF(&pdf, A4))
	require.NoError(t, viewed(t, c).DaySheet(&day, A4))
	page, _, _ := strings.Cut(string(pageBytes(t, c)), `<section class="page site"`)
	_, page, _ = strings.Cut(page, "<body>")
	return map[string]string{
		"page": html.UnescapeString(plainText(page)), "pdf": pdfWords(t, pdf.Bytes()), "day sheet": pdfWords(t, day.Bytes()),
		"sr": strings.Join(srTexts(viewed(t, c).tree(dicomio.Source{Seed: "seed"})), " "),
	}
}

// pdfWords returns a PDF's text, its line breaks as spaces, by Poppler's pdftotext.
func pdfWords(t *testing.T, pdf []byte) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "x.pdf")
	require.NoError(t, os.WriteFile(file, pdf, 0o600))
	return strings.Join(strings.Fields(oracle(t, "pdftotext", "-layout", file, "-")), " ")
}

// srTexts returns the texts of a document in its order.
func srTexts(n dicomio.Node) []string {
	out := []string{n.Text}
	for _, inner := range n.Nodes {
		out = append(out, srTexts(inner)...)
	}
	return out
}

// gravestCase is the invented case with a site that has all of it: an overlap, a canal near, a loop that
// nobody marked, thin bone, and more words than a line holds.
func gravestCase() Case {
	c := sampleCase()
	c.Sections = nil
	s := &c.Result.Sites[3]
	loop := measure.Row{Quantity: "clearance", To: "anterior loop", Unit: "mm", Margin: pointer(2), Verdict: measure.NotAssessed,
		Note: "anterior loop not marked, and the site does not lie distal to the left mental foramen: no fixed distance mesial to the foramen is safe"}
	root := measure.Row{Quantity: "clearance", To: "root 35", Value: pointer(-0.4), Unit: "mm", Budget: budget(0.1, 0.1), Margin: pointer(1.5), Verdict: measure.NotHeld,
		Note: "overlaps root 35 by 0.4 mm"}
	s.Rows = append(s.Rows, loop, root)
	s.Verdict = measure.NotAssessed // as a rule of measure might say: the page must not care
	c.Result.Cautions = append([]measure.Caution{
		{Code: "scan_not_named", Text: "the plan names no scan", Severity: measure.SeverityNote},
		{Code: "tube", Text: "a more canal-like tube lies 3 mm away", Severity: measure.SeverityUncertain, Site: "35"},
		{Code: "place", Text: "the number is of another place", Severity: measure.SeverityNotAssessed, Site: "36"},
	}, c.Result.Cautions...)
	return c
}

// On page, PDF, day sheet and structured report the same case says the same.
func TestEveryMediumSaysTheSame(t *testing.T) {
	c := gravestCase()
	for name, text := range firstPages(t, c) {
		t.Run(name, func(t *testing.T) {
			sayLines(t, c.Result, text)
			sayCautions(t, text)
			// The words that read as a perforation or a permission are gone.
			require.NotRegexp(t, `(?i)\bbreach|\bclear\b`, text)
		})
	}
	require.Regexp(t, `(?m)^\.note \{ font-size: \.8rem`, pageStyle, "notes are smaller")
}

// sayLines holds that text says every line of every site, whole and in order, its place in words and all
// verdicts that apply.
func sayLines(t *testing.T, r *measure.Result, text string) {
	t.Helper()
	for i := range r.Sites {
		s := &r.Sites[i]
		rest := text
		for _, line := range linesOf(s, r.Jaw) {
			var found bool
			_, rest, found = strings.Cut(rest, line.Text)
			require.True(t, found, "site %s: %s", s.ID, line.Text)
		}
		require.Contains(t, text, placeWords(s))
	}
	overlap, canal := strings.Index(text, "Overlaps root 35 by 0.4 mm."), strings.Index(text, "Clearance to left canal: 3.93 ± 0.68 mm")
	require.True(t, 0 <= overlap && overlap < canal, "the overlap first, then the canal within twice its margin")
	require.Regexp(t, `(?i)not held not assessed uncertain`, strings.ReplaceAll(text, " · ", " "))
}

// sayCautions holds that what changes a verdict stands before all other cautions, with its site, and notes last.
func sayCautions(t *testing.T, text string) {
	t.Helper()
	at := -1
	for _, want := range []string{
		"Not assessed: site 36: the number is of another place.", "At best uncertain: site 35: a more canal-like tube lies 3 mm away.",
		"metal artefact suspected in 3 of 300 slices, 9 mm from site 46.", "the plan names no scan.",
	} {
		next := strings.Index(text, want)
		require.Greater(t, next, at, want)
		at = next
	}
}

// The sides and names that people read come from the place, whatever the number says.
func TestNumberOfTheOtherSide(t *testing.T) {
	c := sampleCase()
	c.Sections = nil
	s := &c.Result.Sites[3]
	s.ID, s.Tooth, s.Name, s.Side = "46", "46", "46, lower left first molar", measure.Left
	c.Result.Sites = c.Result.Sites[3:]
	for name, text := range firstPages(t, c) {
		require.Contains(t, text, "lower left first molar", name)
		require.NotContains(t, text, "lower right", name)
	}
	require.Contains(t, string(pageBytes(t, c)), "left, by its place")
}

// The day sheet's letters never shrink and its lines are never cut: fourteen sites take more pages.
func TestDaySheetGrowsByPages(t *testing.T) {
	c := gravestCase()
	one := c.Result.Sites[3]
	c.Result.Sites = nil
	for _, id := range []string{"31", "32", "33", "34", "35", "36", "37", "41", "42", "43", "44", "45", "46", "a-very-long-id"} {
		one.ID, one.Name = id, ""
		c.Result.Sites = append(c.Result.Sites, one)
	}
	var out bytes.Buffer
	require.NoError(t, viewed(t, c).DaySheet(&out, A4))
	lookAt(t, "day-long.pdf", out.Bytes())
	text := pdfWords(t, out.Bytes())
	require.Equal(t, 14, strings.Count(text, "mesial to the foramen is safe"))
	require.Equal(t, 14, strings.Count(text, "placed as planned"))
	require.NotContains(t, text, "…")
	for _, m := range regexp.MustCompile(`<fontspec [^>]*size="(\d+)"`).FindAllStringSubmatch(xmlOf(t, out.Bytes()), -1) {
		size, err := strconv.Atoi(m[1]) // in 1/1.5 pt: pdftohtml's zoom
		require.NoError(t, err)
		require.True(t, size >= 14 || size == 11, "head and foot of a page are 2.6 mm, all else 3.2 mm or more: %d", size)
	}
}
