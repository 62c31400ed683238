package report

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
)

// openCase is the invented case with the height of site 36 ending at a limit that nobody asked for.
func openCase(to measure.Limit, why string) Case {
	c := sampleCase()
	c.Sections = nil // pictures take most of the time
	s := &c.Result.Sites[3]
	s.HeightTo, s.HeightOpen = to, why
	s.Rows[0].To, s.Rows[0].Value = string(to), pointer(27.97)
	return c
}

func TestHeightsInWords(t *testing.T) {
	site := func(to measure.Limit, why string) heightView {
		return heightOf(&openCase(to, why).Result.Sites[3], measure.Maxilla)
	}
	require.Equal(t, "27.97 ± 0.33 to the nasal floor", site(measure.ToNasalFloor, "").String())
	require.False(t, site(measure.ToNasalFloor, "").Open)
	require.Equal(t, "28.0 to the border; canal not marked", site(measure.ToBorder, "canal not marked").String())
	require.Equal(t, "28.0 to the buccal wall; not a height of bone to the base", site("buccal_wall", "").String())
	require.Equal(t, "28.0 to the palatal wall; not a height of bone to the base; canal not marked", site("lingual_wall", "canal not marked").String())
	require.Equal(t, "28.0 to the palatal wall; not a height of bone to the base", site("lingual_wall", measure.NotToBase).String())
	require.Equal(t, "length", site("lingual_wall", "").Name)
	require.Empty(t, heightOf(&measure.SiteResult{}, measure.Maxilla).String())
}

// A height to the border past a canal that nobody marked is nowhere bold: on no page of HTML, PDF and day
// sheet. The same number as a height to the canal is: the test sees bold letters.
func TestOpenHeightIsNowhereBold(t *testing.T) {
	for _, c := range []struct {
		to    measure.Limit
		why   string
		words string // beside the number wherever it stands first
		bold  bool
	}{
		{measure.ToBorder, "canal not marked", "28.0 to the border; canal not marked", false},
		{measure.ToCanal, "", "27.97 ± 0.33", true},
	} {
		open := openCase(c.to, c.why)
		var page, pdf, day bytes.Buffer
		require.NoError(t, viewed(t, open).HTML(&page))
		require.NoError(t, viewed(t, open).PDF(&pdf, A4))
		require.NoError(t, viewed(t, open).DaySheet(&day, A4))
		for name, text := range map[string]string{"html": page.String(), "pdf": xmlOf(t, pdf.Bytes()), "day": xmlOf(t, day.Bytes())} {
			words := c.words
			if name == "pdf" {
				words, _, _ = strings.Cut(words, " to the ") // the table's cell breaks the line
			}
			require.Contains(t, plainText(text), words, name)
			require.Equal(t, c.bold, boldNumber.MatchString(text), "%s: %s", name, c.to)
		}
		sheet, err := sectionSheet(open.Result, said(open.Result, &open.Result.Sites[3]), nil, window{0, 1}, wholeWidth).SVG()
		require.NoError(t, err)
		require.Contains(t, sheet, c.words, "the picture's caption")
		require.Contains(t, siteComment(said(open.Result, &open.Result.Sites[3])), c.words, "structured report")
	}
}

// boldNumber is the height's number, 28.0 or 27.97, in bold letters of a page.
var boldNumber = regexp.MustCompile(`<(b|strong)>[^<]*\b2(8\.0|7\.97)`)

// xmlOf returns a PDF's text with its bold letters marked, by Poppler's pdftohtml.
func xmlOf(t *testing.T, pdf []byte) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "x.pdf")
	require.NoError(t, os.WriteFile(file, pdf, 0o600))
	return oracle(t, "pdftohtml", "-xml", "-i", "-stdout", file)
}

// plainText returns a page's text without its elements and line breaks.
func plainText(page string) string {
	text := regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, " ")
	return strings.Join(strings.Fields(text), " ")
}

// A length to a side wall is no height in the structured report either.
func TestLengthToAWallIsCodedAsLength(t *testing.T) {
	for to, want := range map[measure.Limit]string{"buccal_wall": "Length", measure.ToCanal: "Height"} {
		v := viewed(t, openCase(to, ""))
		g := v.siteGroup(&v.page.Sites[3], "seed")
		for _, n := range g.Nodes {
			if n.Type == "NUM" {
				require.Equal(t, want, n.Name.Meaning, to)
				break
			}
		}
	}
}
