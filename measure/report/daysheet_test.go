package report

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
	"ridgerule/measure/uncertainty"
)

// dayCase is a case whose site 36 has a platform 2.25 ± 0.10 mm below the crest.
func dayCase() Case {
	c := fullCase()
	depth := 2.25
	s := &c.Result.Sites[3]
	s.Rows = append(s.Rows, measure.Row{Quantity: "platform_depth", To: "given by the plan", Unit: "mm", Value: &depth,
		Budget: uncertainty.Budget{{Name: "crest", Std: 0.05}}})
	return c
}

func daySheetText(t *testing.T, c Case, how string) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, viewed(t, c).DaySheet(&out, A4))
	lookAt(t, "day-full.pdf", out.Bytes())
	file := filepath.Join(t.TempDir(), "day.pdf")
	require.NoError(t, os.WriteFile(file, out.Bytes(), 0o600))
	return oracle(t, "pdftotext", how, file, "-")
}

// The implant at 36 is 11 mm long: with 2.25 mm to its platform, 13.25 mm from the crest to its apex.
func TestDaySheetSaysWhatADrillCountsFrom(t *testing.T) {
	text := regexp.MustCompile(`\s+`).ReplaceAllString(daySheetText(t, dayCase(), "-raw"), " ")
	for _, want := range []string{
		"platform 2.25 ± 0.10 mm below the crest as scanned (given by the plan); drill reference: that crest, 13.2 mm to the apex (platform depth + length)",
		"its depth below the crest was not measured; drill reference: the platform, 15.5 mm to the apex",
		"nearest nerve or cavity: left canal, 3.93 ± 0.68 mm", "lower left first molar; side of the patient: left, by its place",
		"patient right", "anterior", "measured 1 March 2026, 09:30 UTC", "metal artefact suspected in 3 of 300 slices, 9 mm from site 46.",
	} {
		require.Contains(t, text, want)
	}
}

// Where no distance to a nerve or cavity was measured, the sheet says so: nothing missing reads as far away.
func TestDaySheetSaysWhereNoNerveWasMeasured(t *testing.T) {
	s := measure.SiteResult{Implant: &measure.Implant{Length: 10}}
	root := 0.3
	s.Rows = []measure.Row{{Quantity: "clearance", To: "root 35", Kind: "root", Value: &root}, {Quantity: "clearance", To: "left canal", Kind: "canal"}}
	require.Equal(t, "nearest nerve or cavity: none was measured", nearestWords(&s))
}

// Names of 16 wide letters lie over nothing on the sheet: no two words share paper, of which poppler gives the boxes
// (a quarter of a box's height is air above and below the letters).
func TestDaySheetOverprintsNothing(t *testing.T) {
	c := dayCase()
	for i := range c.Result.Sites {
		c.Result.Sites[i].ID = "WWWWWWWWWWWWWWW" + strconv.Itoa(i)
	}
	type word struct {
		box  box2
		text string
	}
	var words []word
	page := 0
	for _, m := range regexp.MustCompile(`<page |<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]*)<`).FindAllStringSubmatch(daySheetText(t, c, "-bbox"), -1) {
		if m[5] == "" {
			page++
			continue
		}
		var at [4]float64
		for i := range at {
			x, err := strconv.ParseFloat(m[i+1], 64)
			require.NoError(t, err)
			at[i] = x
		}
		air := (at[3] - at[1]) / 4
		down := float64(page) * 2000
		words = append(words, word{box2{spot{at[0], down + at[1] + air}, spot{at[2], down + at[3] - air}}, m[5]})
	}
	require.Greater(t, len(words), 150)
	for i, a := range words {
		for _, b := range words[:i] {
			require.False(t, a.box.overlaps(b.box), "%q lies over %q", a.text, b.text)
		}
	}
}
