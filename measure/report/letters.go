package report

import (
	"fmt"
	"strings"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// drawable returns text as the typefaces can draw it: what they have no letters for is named by script and code
// point, "[Han U+6F22 U+5B57]", and never drawn as a box. Where a reader's own fonts draw, in HTML and SVG, text stays as it is.
func drawable(text string) string {
	var out strings.Builder
	var strange []rune
	flush := func() {
		out.WriteString(named(strange))
		strange = nil
	}
	for _, r := range printable(text) {
		if drawn(r) {
			flush()
			out.WriteRune(r)
			continue
		}
		if len(strange) > 0 && scriptOf(r) != scriptOf(strange[0]) {
			flush()
		}
		strange = append(strange, r)
	}
	flush()
	return out.String()
}

// mostNamed is how many characters of a run are named before the rest are counted.
const mostNamed = 4

func named(run []rune) string {
	if len(run) == 0 {
		return ""
	}
	text := "[" + scriptOf(run[0])
	for _, r := range run[:min(len(run), mostNamed)] {
		text += fmt.Sprintf(" U+%04X", r)
	}
	if more := len(run) - mostNamed; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text + "]"
}

// scriptOf returns the name of a character's script in Unicode, "character" for those of none.
func scriptOf(r rune) string {
	for name, table := range unicode.Scripts {
		if name != "Common" && name != "Inherited" && unicode.Is(table, r) {
			return name
		}
	}
	return "character"
}

// drawn reports whether every cut of the typeface has the letter.
func drawn(r rune) bool {
	if r >= ' ' && r <= '~' {
		return true
	}
	fonts, err := parsed()
	if err != nil {
		return false
	}
	var b sfnt.Buffer
	for _, f := range fonts {
		if glyph, err := f.GlyphIndex(&b, r); err != nil || glyph == 0 {
			return false
		}
	}
	return true
}

// wrapped breaks text into lines no wider than width, in the unit of size; a word that is wider is broken.
func wrapped(text string, size float64, cut weight, width float64) []string {
	fits := func(text string) bool { return textWidth(text, size, cut) <= width }
	var lines []string
	line := ""
	for _, word := range strings.Fields(drawable(text)) {
		if longer := strings.TrimPrefix(line+" "+word, " "); fits(longer) {
			line = longer
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for letters := []rune(word); !fits(word) && len(letters) > 1; letters = []rune(word) {
			n := len(letters)
			for n > 1 && !fits(string(letters[:n])) {
				n--
			}
			lines, word = append(lines, string(letters[:n])), string(letters[n:])
		}
		line = word
	}
	return append(lines, line)
}

// textWidth returns how wide text is in letters of this size, in the unit of size.
func textWidth(text string, size float64, cut weight) float64 {
	fonts, err := parsed()
	if err != nil {
		return 0
	}
	const em = 1000
	var b sfnt.Buffer
	sum := fixed.Int26_6(0)
	for _, r := range drawable(text) {
		glyph, err := fonts[cut].GlyphIndex(&b, r)
		if err != nil {
			continue
		}
		if wide, err := fonts[cut].GlyphAdvance(&b, glyph, fixed.I(em), font.HintingNone); err == nil {
			sum += wide
		}
	}
	return float64(sum) / 64 / em * size
}
