package report

import (
	"fmt"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// drawable returns text as the typefaces can draw it: what they have no letters for is named by script and code
// point, "[Han U+6F22 U+5B57]", and never drawn as a box. Where a reader's own fonts draw, in HTML and SVG, text stays as it is.
func drawable(text string) string {
	if allASCII(text) {
		return text
	}
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

// allASCII reports whether text is printable ASCII, as nearly all is.
func allASCII(text string) bool {
	for _, c := range []byte(text) {
		if c < ' ' || c > '~' {
			return false
		}
	}
	return true
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

// advances are how far each letter moves on, for letters 1 high, by cut; only letters that every cut has.
var advances = sync.OnceValue(func() map[weight]map[rune]float64 {
	fonts, err := parsed()
	out := map[weight]map[rune]float64{regular: {}, bold: {}, italic: {}}
	if err != nil {
		return out
	}
	const em = 1000
	var b sfnt.Buffer
	for r := ' '; r <= 0xffff; r++ {
		all := map[weight]float64{}
		for cut, f := range fonts {
			glyph, err := f.GlyphIndex(&b, r)
			if err != nil || glyph == 0 {
				break
			}
			if wide, err := f.GlyphAdvance(&b, glyph, fixed.I(em), font.HintingNone); err == nil {
				all[cut] = float64(wide) / 64 / em
			}
		}
		if len(all) == len(fonts) {
			for cut, wide := range all {
				out[cut][r] = wide
			}
		}
	}
	return out
})

// drawn reports whether every cut of the typeface has the letter.
func drawn(r rune) bool {
	_, known := advances()[regular][r]
	return known
}

// wrapped breaks text into lines no wider than width, in the unit of size; a word that is wider is broken.
func wrapped(text string, size float64, cut weight, width float64) []string {
	advance := advances()[cut]
	space := size * advance[' ']
	var lines []string
	line, used := "", 0.0
	for _, word := range strings.Fields(drawable(text)) {
		wide := textWidth(word, size, cut)
		if line != "" && used+space+wide <= width {
			line, used = line+" "+word, used+space+wide
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		line, used = word, wide
		for used > width {
			n, room := 0, width
			for i, r := range line {
				if room -= size * advance[r]; room < 0 && i > 0 {
					break
				}
				n = i + utf8.RuneLen(r)
			}
			if n == len(line) { // one letter, wider than the line
				break
			}
			lines, line = append(lines, line[:n]), line[n:]
			used = textWidth(line, size, cut)
		}
	}
	return append(lines, line)
}

// textWidth returns how wide text is in letters of this size, in the unit of size.
func textWidth(text string, size float64, cut weight) float64 {
	advance, sum := advances()[cut], 0.0
	for _, r := range drawable(text) {
		sum += advance[r]
	}
	return sum * size
}
