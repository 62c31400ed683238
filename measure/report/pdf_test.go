package report

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestPDFHoldsTheReport(t *testing.T) {
	for _, paper := range []Paper{A4, Letter} {
		var out bytes.Buffer
		require.NoError(t, PDF(&out, fullCase(), paper))
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

func TestSamePDFSameBytes(t *testing.T) {
	var first, second bytes.Buffer
	require.NoError(t, PDF(&first, sampleCase(), A4))
	require.NoError(t, PDF(&second, sampleCase(), A4))
	require.Equal(t, first.Bytes(), second.Bytes())
}

func TestDaySheetIsTwoPagesAtMost(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, DaySheet(&out, fullCase(), Letter))
	lookAt(t, "day.pdf", out.Bytes())
	require.LessOrEqual(t, len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(out.Bytes(), -1)), 2)
}

func TestUnknownPaperIsRefused(t *testing.T) {
	require.ErrorContains(t, PDF(&bytes.Buffer{}, sampleCase(), "A5"), `paper "A5" is neither A4 nor Letter`)
}

// Text of any script and length neither stops the PDF nor leaves it broken.
func TestHostileTextInPDF(t *testing.T) {
	c := sampleCase()
	c.Sections = nil
	c.Result.Case = strings.Repeat("𝄞漢)\\(", 60)
	c.Result.Sites[1].Note = strings.Repeat("x", 4000)
	c.Result.Sites[1].Rows[0].Note = "\x00\xff\u202e" + strings.Repeat("ä ", 500)
	require.NoError(t, PDF(&bytes.Buffer{}, c, A4))
}
