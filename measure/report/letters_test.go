package report

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// Letters that the typefaces lack are named: script (Unicode, Scripts.txt) and code points, never drawn as boxes.
func TestForeignLettersAreNamed(t *testing.T) {
	for text, want := range map[string]string{
		"漢字":           "[Han U+6F22 U+5B57]",
		"右カナル":         "[Han U+53F3][Katakana U+30AB U+30CA U+30EB]",
		"ひだり":          "[Hiragana U+3072 U+3060 U+308A]",
		"עצב 36":       "[Hebrew U+05E2 U+05E6 U+05D1] 36",
		"عصب":          "[Arabic U+0639 U+0635 U+0628]",
		"ขวา":          "[Thai U+0E02 U+0E27 U+0E32]",
		"दायाँ":        "[Devanagari U+0926 U+093E U+092F U+093E and 1 more]",
		"왼쪽":           "[Hangul U+C67C U+CABD]",
		"𝄞":            "[character U+1D11E]",
		"Ärmel, левый": "Ärmel, левый",
		"± − × ·":      "± − × ·",
	} {
		require.Equal(t, want, drawable(text))
	}
}

// A page and its picture name them; the web page, which the reader's own fonts draw, has the letters themselves.
func TestForeignLabelInEveryMedium(t *testing.T) {
	c := sampleCase()
	c.Result.Case = "右側 왼쪽"
	var page, web bytes.Buffer
	require.NoError(t, viewed(t, c).PDF(&page, A4))
	require.NoError(t, viewed(t, c).HTML(&web))
	require.Contains(t, web.String(), "右側 왼쪽")
	file := filepath.Join(t.TempDir(), "r.pdf")
	require.NoError(t, os.WriteFile(file, page.Bytes(), 0o600))
	text := oracle(t, "pdftotext", file, "-")
	require.Contains(t, text, "[Han U+53F3 U+5074] [Hangul U+C67C U+CABD]")
	for _, r := range text {
		require.True(t, drawn(r) || r == '\n' || r == '\f', "%U is drawn as a box", r)
	}
}
