package report

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"sync"

	"ridgerule/measure"
)

//go:embed page.tmpl
var pageText string

//go:embed page.css
var pageStyle string

// page is parsed when first used; the template is part of the program, so a fault in it is ours.
var page = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("page").Parse(pageText))
})

// style is the page's style sheet with its letters inside, and the policy that allows exactly it:
// no script, no request, no frame.
var style = sync.OnceValues(func() (string, error) {
	var b strings.Builder
	b.WriteString("\n")
	for _, f := range []struct {
		cut  weight
		rule string
	}{{regular, "font-weight: 400"}, {bold, "font-weight: 700"}, {italic, "font-weight: 400; font-style: italic"}} {
		data, err := woff(typefaces[f.cut])
		if err != nil {
			return "", err
		}
		fmt.Fprintf(&b, "@font-face { font-family: Go; %s; src: url(data:font/woff;base64,%s) format(\"woff\"); }\n", f.rule, base64.StdEncoding.EncodeToString(data))
	}
	b.WriteString(pageStyle)
	return b.String(), nil
})

func policy(css string) string {
	sum := sha256.Sum256([]byte(css))
	return "default-src 'none'; img-src data:; font-src data:; style-src 'sha256-" +
		base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'"
}

// HTML writes the case as one self-contained page: no script, no request, printable on A4 and
// Letter.
func (v *View) HTML(w io.Writer) error {
	css, err := style()
	if err != nil {
		return err
	}
	laid, err := v.drawnPage()
	if err != nil {
		return err
	}
	laid.Style, laid.Policy = template.CSS(css), policy(css)
	return page().Execute(w, laid)
}

// answer says in one line what the first page's table says: every verdict with the sites that it applies to.
func answer(r *measure.Result) string {
	noun := " sites in the "
	if len(r.Sites) == 1 {
		noun = " site in the "
	}
	text := initial(numberWord(len(r.Sites)), strings.ToUpper) + noun + string(r.Jaw) + "."
	for _, v := range []struct {
		word  string
		holds func(s *measure.SiteResult) bool
	}{
		{"Overlap, or outside the bone", overlaps},
		{"Not held", has(measure.NotHeld)}, {"Not assessed", has(measure.NotAssessed)}, {"Uncertain", has(measure.Uncertain)},
		{"Every margin held", has(measure.Held)}, {"No margin to hold against", has(measure.NoMargin)},
	} {
		var ids []string
		for i := range r.Sites {
			if v.holds(&r.Sites[i]) {
				ids = append(ids, r.Sites[i].ID)
			}
		}
		if len(ids) > 0 {
			text += " " + v.word + ": " + strings.Join(ids, ", ") + "."
		}
	}
	return text
}

// has returns whether a verdict is among those that apply to a site.
func has(v measure.Verdict) func(*measure.SiteResult) bool {
	return func(s *measure.SiteResult) bool { return slices.Contains(verdictsOf(s), verdictOf(v)) }
}

// overlaps reports whether the site's implant overlaps something or leaves the bone.
func overlaps(s *measure.SiteResult) bool { return slices.ContainsFunc(s.Rows, measure.Row.Overlap) }

func numberWord(n int) string {
	words := []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}
	if n < len(words) {
		return words[n]
	}
	return fmt.Sprint(n)
}
