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
	require.NoError(t, PDF(&pdf, c, A4))
	require.NoError(t, DaySheet(&day, c, A4))
	page, _, _ := strings.Cut(string(pageBytes(t, c)), `<section class="page site"`)
	_, page, _ = strings.Cut(page, "<body>")
	return map[string]string{
		"page": html.UnescapeString(plainText(page)), "pdf": pdfWords(t, pdf.Bytes()), "day sheet": pdfWords(t, day.Bytes()),
		"sr": strings.Join(srTexts(tree(c, "seed")), " "),
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

// Every medium says every line of every site, whole and in the same words and order.
func TestEveryMediumSaysTheSame(t *testing.T) {
	c := gravestCase()
	for name, text := range firstPages(t, c) {
		for i := range c.Result.Sites {
			s := &c.Result.Sites[i]
			rest := text
			for _, line := range linesOf(s, c.Result.Jaw) {
				var found bool
				_, rest, found = strings.Cut(rest, line.Text)
				require.True(t, found, "%s of site %s: %s", name, s.ID, line.Text)
			}
			require.Contains(t, text, placeWords(s), name)
		}
		overlap, canal := strings.Index(text, "Overlaps root 35 by 0.4 mm."), strings.Index(text, "Clearance to left canal: 3.93 ± 0.68 mm")
		require.True(t, 0 <= overlap && overlap < canal, "%s: the overlap first, then the canal within twice its margin", name)
		verdicts := regexp.MustCompile(`(?i)not held( ·)? not assessed( ·)? uncertain`)
		require.Regexp(t, verdicts, strings.ReplaceAll(text, " · ", " "), "%s says all verdicts that apply", name)
	}
}

// What changes a verdict stands before all other cautions, with its site; notes stand last.
func TestCautionsOnEveryFirstPage(t *testing.T) {
	for name, text := range firstPages(t, gravestCase()) {
		at := -1
		for _, want := range []string{
			"Not assessed: site 36: the number is of another place.", "At best uncertain: site 35: a more canal-like tube lies 3 mm away.",
			"metal artefact suspected in 3 of 300 slices, 9 mm from site 46.", "the plan names no scan.",
		} {
			next := strings.Index(text, want)
			require.Greater(t, next, at, "%s: %s", name, want)
			at = next
		}
	}
	require.Regexp(t, `(?m)^\.note \{ font-size: \.8rem`, pageStyle, "notes are smaller")
}

// The sides and names that people read come from the place, whatever the number says.
func TestNumberOfTheOtherSide(t *testing.T) {
	c := sampleCase()
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
	require.NoError(t, DaySheet(&out, c, A4))
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

// The words that read as a perforation or a permission are gone.
func TestNoVerdictOfOldWords(t *testing.T) {
	old := regexp.MustCompile(`(?i)\bbreach|\bclear\b`)
	for name, text := range firstPages(t, gravestCase()) {
		require.NotRegexp(t, old, text, name)
	}
	require.NotRegexp(t, old, string(Schema))
}
