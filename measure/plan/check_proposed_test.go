package plan

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a program proposed and nobody confirmed is said of the plan, of the site and of the structure, and lets nothing read held.
func TestProposalsAreUncertain(t *testing.T) {
	base := planText(archOf(0), "mandible", "proposed: [arch, jaw]\n", []string{"36@37", "34@21"})
	structure := func(keys string) string {
		return "structures:\n  - {name: nerve, kind: canal, radius_mm: 1.5, path: [[24, -18, -15], [25, -12, -15]]" + keys + "}\n"
	}
	check := func(text string) (all []Caution) {
		p, source, err := Read("plan.yaml", []byte(text), nil)
		require.NoError(t, err)
		all, err = p.Check(source)
		require.NoError(t, err)
		return all
	}
	const rests = "was proposed by a program and confirmed by nobody"
	whole := Caution{Code: "proposed", Severity: SeverityUncertain, Text: "arch, jaw " + rests}
	assert.Equal(t, []Caution{whole}, check(base))
	site := strings.Replace(base, "tooth: \"34\"", "proposed: true, tooth: \"34\"", 1)
	assert.Equal(t, []Caution{whole, {Code: "proposed", Severity: SeverityUncertain, Site: "s2", Text: "the site " + rests}}, check(site))
	for keys, want := range map[string]string{
		", proposed: true":                                ` ` + rests,
		", traced: {confirmed: false}":                    ` ` + rests,
		", traced: {confirmed: false, confidence: 0.756}": ` ` + rests + ` (confidence 0.76)`,
		", proposed: true, traced: {confirmed: true}":     ` ` + rests,
		", traced: {confirmed: true, confidence: 0.9}":    "",
		", proposed: false":                               "",
	} {
		got := check(base + structure(keys))
		if want == "" {
			assert.Equal(t, []Caution{whole}, got, keys)
			continue
		}
		assert.Equal(t, []Caution{whole, {Code: "proposed", Severity: SeverityUncertain, Text: `structure "nerve"` + want}}, got, keys)
	}
	for keys, want := range map[string]string{
		", traced: {confirmed: false, confidence: 1.5}": "confidence is 1.5; give a number from 0 to 1", ", traced: {confidence: 0.5}": "confirmed is missing", ", proposed: 1": "proposed is \"1\"; write true or false",
	} {
		_, _, err := Read("plan.yaml", []byte(base+structure(keys)), nil)
		assert.ErrorContains(t, err, want)
	}
	_, _, err := Read("plan.yaml", []byte(strings.Replace(base, "[arch, jaw]", "[arch, nose]", 1)), nil)
	assert.ErrorContains(t, err, `proposed[1] is "nose"; use one of jaw, occlusal, arch`)
}

// A plan is for the scan whose hashes it names: another one is refused unless it is said to be meant, and the frame alone is no proof.
func TestPlanIsForItsScan(t *testing.T) {
	a, b := strings.Repeat("a", 64), strings.Repeat("b", 64)
	for _, c := range []struct {
		want, scan MadeFor
		code       string
		severity   Severity
		refused    bool
	}{
		{MadeFor{}, MadeFor{a, b}, "scan_not_named", SeverityNote, false},
		{MadeFor{a, b}, MadeFor{a, b}, "", "", false},
		{MadeFor{a, ""}, MadeFor{a, b}, "", "", false},
		{MadeFor{"", b}, MadeFor{a, b}, "frame_only", SeverityCaution, false},
		{MadeFor{"", a}, MadeFor{a, b}, "other_scan", SeverityCaution, true},
		{MadeFor{b, b}, MadeFor{a, b}, "other_scan", SeverityCaution, true},
		{MadeFor{a, a}, MadeFor{a, b}, "other_scan", SeverityCaution, true},
		{MadeFor{b, ""}, MadeFor{a, ""}, "other_scan", SeverityCaution, true},
		{MadeFor{"a", ""}, MadeFor{"", ""}, "other_scan", SeverityCaution, true},
	} {
		p := &Placed{Contents: Contents{For: c.want}}
		for _, other := range []bool{false, true} {
			got := p.CheckMadeFor(c.scan, other)
			if c.code == "" {
				assert.Empty(t, got, "%v", c)
				continue
			}
			require.Len(t, got, 1, "%v", c)
			assert.Equal(t, c.code, got[0].Code)
			assert.Equal(t, c.severity, got[0].Severity)
			assert.Equal(t, c.refused && !other, got[0].refuse, "%v", c)
		}
	}
	text := (&Placed{Contents: Contents{For: MadeFor{b, ""}}}).CheckMadeFor(MadeFor{a, a}, false)[0].Text
	assert.Contains(t, text, "it names series bbbbbbbbbbbb, frame not given")
	assert.Equal(t, []string{"not given", "abc", strings.Repeat("a", 12)}, []string{shortHash(""), shortHash("abc"), shortHash(a)})
}

func TestScanIsNamedByItsHashes(t *testing.T) {
	a, b := strings.Repeat("0a", 32), strings.Repeat("f9", 32)
	p, source, err := Read("plan.yaml", []byte(smallPlan+"for: {series: "+a+", frame: "+b+"}\n"), nil)
	require.NoError(t, err)
	assert.Equal(t, MadeFor{a, b}, p.For)
	assert.Equal(t, 6, source.Position("for.frame").Line)
	for keys, want := range map[string]string{
		"{}":                       "for names no scan; give series: or frame:",
		"{series: " + a[1:] + "}":  "is no SHA-256; copy the 64 digits",
		"{series: " + a[1:] + "g}": "is no SHA-256; copy the 64 digits",
		"{frame: " + a + "0}":      "too long",
		"{scan: " + a + "}":        "unknown key",
		a:                          "not a mapping",
	} {
		_, _, err := Read("plan.yaml", []byte(smallPlan+"for: "+keys+"\n"), nil)
		assert.ErrorContains(t, err, want, keys)
	}
}

// What the jaw does not have was looked for; what the scan does not show is not known. The two are never the same.
func TestDeclarations(t *testing.T) {
	p, _, err := Read("plan.yaml", []byte(smallPlan+"declared: [{kind: sinus, side: left, as: absent, by: me}, {kind: canal, side: right, as: not_visible}, {kind: root, side: both, as: absent}]\n"), nil)
	require.NoError(t, err)
	assert.Equal(t, []Declared{{"sinus", []Side{Left}, true, "me"}, {"canal", []Side{Right}, false, ""}, {"root", []Side{Left, Right}, true, ""}}, p.Declared)
	for entry, want := range map[string]string{
		"{side: left, as: absent}": "kind is missing", "{kind: sinus, as: absent}": "side is missing", "{kind: sinus, side: left}": "as is missing",
		"{kind: sinus, side: up, as: absent}": `side is "up"`, "{kind: sinus, side: left, as: gone}": `as is "gone"`, "{kind: nerve, side: left, as: absent}": `kind is "nerve"`,
	} {
		_, _, err := Read("plan.yaml", []byte(smallPlan+"declared: ["+entry+"]\n"), nil)
		assert.ErrorContains(t, err, want, entry)
	}
	_, _, err = Read("plan.yaml", []byte(strings.Replace(smallPlan, "arc_mm: 5", "arc_mm: 5, confirmed: [place, axis, place]", 1)), nil)
	assert.ErrorContains(t, err, "place stands twice")
}
