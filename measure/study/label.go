package study

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"ridgerule/measure/cells"
	"ridgerule/measure/report"
)

// badLabel says why s is no label, which becomes part of a folder's name; "" when it is one. The
// rule is narrow on purpose: what one system takes as a name, another takes as a path, a device, an
// option or a formula. Letters are precomposed (no combining marks), so that two spellings of one
// label cannot become one folder on systems that normalise names.
func badLabel(s string) string {
	if s == "" {
		return "is empty"
	}
	if len(s) > 64 {
		return "is longer than 64 bytes"
	}
	for i, c := range s {
		plain := unicode.IsLetter(c) || unicode.IsDigit(c)
		switch {
		case !plain && i == 0:
			return "does not begin with a letter or a digit"
		case !plain && !strings.ContainsRune("-_. ", c):
			return fmt.Sprintf("holds %q", c)
		}
	}
	if last := s[len(s)-1]; last == '.' || last == ' ' {
		return "ends with a dot or a space"
	}
	if device.MatchString(s) {
		return "is a device name on some systems"
	}
	return ""
}

var device = regexp.MustCompile(`(?i)^(con|prn|aux|nul|com[0-9]|lpt[0-9])(\.|$)`)

// badColumn says what is wrong with the name of a further column, and the remedy.
func badColumn(name string) (problem, remedy string) {
	switch {
	case strings.TrimSpace(name) == "":
		return "has no name", "name it or remove it"
	case len(name) > 100 || strings.ContainsFunc(name, unicode.IsControl) || strings.TrimSpace(name) != name:
		return "is no plain name", "use a short word without blanks around it"
	case slices.Contains(ownColumns, strings.ToLower(name)):
		return "differs from a column of the manifest in its capitals only", "write " + strings.ToLower(name)
	case strings.EqualFold(name, "repeat"): // a reserved word of R, and the older name of replicate
		return "is the older name of a column of the manifest", "write replicate"
	case tableColumn(name):
		return "is the name of a column of the tables", "rename it, as my_" + name
	}
	return "", ""
}

// tableColumn reports whether a merged table has a column of this name already.
func tableColumn(name string) bool {
	is := func(c report.Column) bool { return strings.EqualFold(c.Name, name) && c.Name != "case" }
	return slices.ContainsFunc(slices.Concat(report.MeasurementColumns(), report.SiteColumns(nil), caseColumns()), is) ||
		widthColumn.MatchString(strings.ToLower(name))
}

// cut shortens what a message repeats.
func cut(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

// textOrNumber returns text as a cell that no spreadsheet runs. A number stays one, with its sign: a further column of a
// manifest may hold numbers.
func textOrNumber(text string) string {
	if number.MatchString(text) {
		return text
	}
	return cells.Text(text)
}

var number = regexp.MustCompile(`^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$`)
