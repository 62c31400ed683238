package report

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func pageBytes(t *testing.T, c Case) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, viewed(t, c).HTML(&out))
	return out.Bytes()
}

func TestPageIsSelfContained(t *testing.T) {
	out := pageBytes(t, sampleCase())
	lookAt(t, "report.html", out)
	text := string(out)
	require.NotContains(t, text, "<script")
	require.NotContains(t, text, " style=")
	for _, m := range regexp.MustCompile(`(?:\s(?:src|href)\s*=\s*|url\()["']?([^"'\s)>]+)`).FindAllStringSubmatch(text, -1) {
		require.Truef(t, strings.HasPrefix(m[1], "data:") || strings.HasPrefix(m[1], "#"), "points outside: %.60s", m[1])
	}
}

// The policy of the page forbids everything but its own style, letters and pictures.
func TestPolicyForbidsAllElse(t *testing.T) {
	require.Regexp(t, `^default-src 'none'; img-src data:; font-src data:; style-src 'sha256-[A-Za-z0-9+/]{43}='; base-uri 'none'; form-action 'none'$`, policy("x"))
	// printf x | openssl dgst -sha256 -binary | base64
	require.Contains(t, policy("x"), "LXEWQrcmsEQBYnyp+6wy9chTD7GQPMTbAiWHF5IaSIE=")
}

func TestSamePageSameBytes(t *testing.T) {
	require.Equal(t, pageBytes(t, sampleCase()), pageBytes(t, sampleCase()))
}

func TestFirstPageAnswers(t *testing.T) {
	text := string(pageBytes(t, sampleCase()))
	for _, want := range []string{
		"Four sites in the mandible. Not held: 35. Not assessed: 47, 46. Uncertain: 35, 36.",
		"Clearance to left canal: 0.21 ± 0.68 mm, margin 2.0 mm",
		"Not measured: section at 3.1 mm of the arch lies outside the field of the scan",
		"canal not marked on this side",
		syntheticCaution, shortCaution, "metal artefact suspected", "Changed by the plan.", "thinner than the scan resolves",
		"occlusal plane set horizontal by the operator", "edge noise",
	} {
		require.Contains(t, text, strings.ReplaceAll(want, "+", "&#43;"))
	}
}

// Hostile text from a plan is text on the page: no element, no attribute, no request comes of it.
func FuzzHostileTextStaysText(f *testing.F) {
	f.Add(`<script>alert(1)</script>`, `"><img src=http://example.org/x onerror=alert(1)>`)
	f.Add("</title><svg/onload=1>", "\u202e\x00]]><!--")
	calm := sampleCase()
	calm.Sections, calm.Result.Sites = nil, calm.Result.Sites[1:3]
	var page bytes.Buffer
	require.NoError(f, viewed(f, calm).HTML(&page))
	harmless := elements(page.String())
	f.Fuzz(func(t *testing.T, a, b string) {
		c := sampleCase()
		r := c.Result
		c.Sections = nil
		r.Sites = r.Sites[1:3]
		r.Case, r.OrientationNote, r.Sites[0].Note, r.Sites[1].ID = a, b, b, a
		r.Structures[0].Name, r.Margins[0].Source, r.Cautions[0].Text = b, a, b
		r.Sites[1].Findings[0].To, r.Sites[1].Rows[0].Note = a, b
		text := string(pageBytes(t, c))
		// Text that is empty, or is once its control characters are gone, drops an element of ours; none
		// may be added, by opening one or by closing one.
		for name, n := range elements(text) {
			require.LessOrEqual(t, n, harmless[name], "<%s>", name)
		}
	})
}

// elements counts the elements of a page by name. Counts alone decide: an injected element or a
// closed one raises them. Notes and names may be empty, which drops a few of ours, so those
// that depend on emptiness are left out.
func elements(page string) map[string]int {
	count := map[string]int{}
	if head, rest, found := strings.Cut(page, "<style>"); found {
		_, tail, _ := strings.Cut(rest, "</style>") // half a megabyte of letters
		page = head + tail
	}
	for _, m := range regexp.MustCompile(`<(/?[a-zA-Z!][a-zA-Z0-9-]*)`).FindAllStringSubmatch(page, -1) {
		switch name := strings.TrimPrefix(strings.ToLower(m[1]), "/"); name {
		case "span", "dt", "dd", "p", "text", "path":
		default:
			count[m[1]]++
		}
	}
	return count
}
