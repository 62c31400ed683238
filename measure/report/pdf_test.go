package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"html"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

func TestPDFHoldsTheReport(t *testing.T) {
	for _, paper := range []Paper{A4, Letter} {
		var out bytes.Buffer
		require.NoError(t, viewed(t, fullCase()).PDF(&out, paper))
		lookAt(t, string(paper)+"-report.pdf", out.Bytes())
		file := filepath.Join(t.TempDir(), "r.pdf")
		require.NoError(t, os.WriteFile(file, out.Bytes(), 0o600))
		text := oracle(t, "pdftotext", "-layout", file, "-")
		pages := strings.Count(text, "\f")
		require.Equal(t, pages, strings.Count(text, "Not a diagnosis, not a treatment decision")-1, "the caution stands on every page, and once more on the first")
		for _, want := range []string{"Four sites in the mandible", "margin 2.0 mm: not held", "0.21 ± 0.68", "thinner than the scan resolves", "marking", "g 0.300", "CHANGED BY THE PLAN", syntheticCaution} {
			require.Contains(t, regexp.MustCompile(`\s+`).ReplaceAllString(text, " "), want)
		}
	}
}

// manySites is a case of five sites as full as those of the demo: 13 distances, 9 sizes, 20 facts, a budget each.
func manySites() Case {
	c := fullCase()
	full, picture := c.Result.Sites[3], c.Sections["36"]
	clearance, _ := full.Lookup("clearance", math.NaN())
	wide := 9.0
	clearance.Value, clearance.Verdict = &wide, measure.Held
	fact, _ := full.Lookup("buccal_undercut", math.NaN())
	for n := range 12 {
		clearance.To = fmt.Sprintf("structure %d", n)
		full.Rows = append(full.Rows, clearance)
		fact.Quantity = quantity.Name(fmt.Sprintf("further_%d", n))
		full.Rows = append(full.Rows, fact)
	}
	for len(full.SizesTried) < 9 {
		full.SizesTried = append(full.SizesTried, full.SizesTried[0])
	}
	c.Result.Sites, c.Sections = nil, map[string]Picture{}
	for i, id := range []string{"36", "35", "32", "42", "WWWWWWWW 1234567"} {
		full.ID, full.Frame = id, sampleFrame(float64(12*i-24))
		c.Result.Sites, c.Sections[id] = append(c.Result.Sites, full), picture
	}
	return c
}

func pdfFile(t *testing.T, c Case) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, viewed(t, c).PDF(&out, A4))
	lookAt(t, "many.pdf", out.Bytes())
	file := filepath.Join(t.TempDir(), "r.pdf")
	require.NoError(t, os.WriteFile(file, out.Bytes(), 0o600))
	return file
}

func TestFiveSitesAreEightPages(t *testing.T) {
	text := oracle(t, "pdftotext", pdfFile(t, manySites()), "-")
	require.LessOrEqual(t, strings.Count(text, "\f"), 8)
}

// A reader jumps to a site; programs read title and language; the date is on every page.
func TestPDFTellsWhatItIs(t *testing.T) {
	c := manySites()
	c.Result.Case = "a < b & 漢"
	file := pdfFile(t, c)
	pages := strings.Split(strings.TrimSuffix(oracle(t, "pdftotext", file, "-"), "\f"), "\f")
	for i, page := range pages {
		require.Contains(t, page, "1 March 2026, 09:30 UTC", "page %d", i+1)
	}
	meta := oracle(t, "pdfinfo", "-meta", file)
	require.NoError(t, xml.Unmarshal([]byte(meta), new(struct{})), meta)
	require.Contains(t, meta, `<rdf:li xml:lang="x-default">a &lt; b &amp; [Han U+6F22]: ridge measurements</rdf:li>`)
	require.Contains(t, meta, "<dc:language><rdf:Bag><rdf:li>en</rdf:li>")
	require.Contains(t, meta, "<xmp:CreateDate>2026-03-01T09:30:00Z</xmp:CreateDate>")
	outline := oracle(t, "pdftohtml", "-xml", "-i", "-stdout", file)
	for _, mark := range []string{"Summary", "36, lower left first molar", "The arch", "What this rests on", "Appendix: where the uncertainty comes from", "Site WWWWWWWW 1234567"} {
		require.Regexp(t, `<item page="\d+">`+mark, outline)
	}
}

// The PDF's tables have the columns of the page's.
func TestPDFHasTheColumnsOfThePage(t *testing.T) {
	c := manySites()
	var page bytes.Buffer
	require.NoError(t, viewed(t, c).HTML(&page))
	text := strings.Join(strings.Fields(oracle(t, "pdftotext", "-raw", pdfFile(t, c), "-")), " ")
	headings := regexp.MustCompile(`<th scope="col">([^<]+)</th>`).FindAllStringSubmatch(page.String(), -1)
	require.Greater(t, len(headings), 30)
	for _, h := range headings {
		require.Contains(t, text, html.UnescapeString(h[1]))
	}
}

// Pictures as wide as each other, and not the same: the library sorts by widths alone.
func TestSamePDFSameBytes(t *testing.T) {
	c := sampleCase()
	for id, p := range c.Sections {
		p.Grey = slices.Clone(p.Grey)
		p.Grey[len(id+id)*200+int(id[1])] += 500
		c.Sections[id] = p
	}
	var first bytes.Buffer
	require.NoError(t, viewed(t, c).PDF(&first, A4))
	for range 5 {
		var again bytes.Buffer
		require.NoError(t, viewed(t, c).PDF(&again, A4))
		require.Equal(t, first.Bytes(), again.Bytes())
	}
}

func TestDaySheetIsTwoPagesAtMost(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, viewed(t, fullCase()).DaySheet(&out, Letter))
	lookAt(t, "day.pdf", out.Bytes())
	require.LessOrEqual(t, len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(out.Bytes(), -1)), 2)
}

func TestUnknownPaperIsRefused(t *testing.T) {
	require.ErrorContains(t, viewed(t, sampleCase()).PDF(&bytes.Buffer{}, "A5"), `paper "A5" is neither A4 nor Letter`)
}

// Text of any script and length neither stops the PDF nor leaves it broken.
func TestHostileTextInPDF(t *testing.T) {
	c := sampleCase()
	c.Sections = nil
	c.Result.Case = strings.Repeat("𝄞漢)\\(", 60)
	c.Result.Sites[1].Note = strings.Repeat("x", 4000)
	c.Result.Sites[1].Rows[0].Note = "\x00\xff\u202e" + strings.Repeat("ä ", 500)
	require.NoError(t, viewed(t, c).PDF(&bytes.Buffer{}, A4))
}
