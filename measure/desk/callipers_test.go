package desk

import (
	"bytes"
	"encoding/csv"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rowsOf returns the rows of measurements.csv, as the command writes it, that a test wants.
func rowsOf(t *testing.T, path string, want func(cell func(name string) string) bool) (out []map[string]string) {
	rows, err := csv.NewReader(bytes.NewReader(tableOf(t, path))).ReadAll()
	require.NoError(t, err)
	for _, r := range rows[1:] {
		one := map[string]string{}
		for i, name := range rows[0] {
			one[name] = r[i]
		}
		if want(func(name string) string { return one[name] }) {
			out = append(out, one)
		}
	}
	return out
}

// Two clicks in a section are a reading: its ends snap to the edge of bone or stay where they were put, it is kept in the plan,
// and its length with U is what measurements.csv says, to the letter.
func TestCallipers(t *testing.T) {
	path := planAt(t, wholePlan)
	d, _ := opened(t, path, Options{})
	b := newTab(t, d.Address())
	b.click("[data-step=sites] .head button")
	b.until(settled)
	b.click("Callipers")
	b.clickOn("section", 0.40, 0.35) // the ridge, 7 mm wide, stands in the middle of the picture's 32 mm
	b.until(`document.getElementById("status").textContent.startsWith("First end set")`)
	b.clickOn("section", 0.62, 0.35)
	b.until(`document.querySelector("[data-reading=value]")?.textContent`)
	b.click("ends snap to the edge of bone")
	b.clickOn("section", 0.5, 0.4)
	b.until(`document.getElementById("status").textContent === "First end set: click the second."`)
	b.clickOn("section", 0.5, 0.6)
	b.until(`[...document.querySelectorAll("[data-reading=value]")].filter((e) => e.textContent).length === 2`)
	b.lookAt("callipers.png")
	readings := d.session.state().Readings
	require.Len(t, readings, 2)
	assert.Equal(t, "46", readings[0].Site)
	assert.False(t, readings[1].Snapped)
	rows := rowsOf(t, path, func(cell func(string) string) bool { return cell("quantity") == "reading" })
	require.Len(t, rows, 2)
	for i, row := range rows {
		for _, c := range []string{"value", "U"} {
			assert.Equal(t, row[c], says[[]string](b, `[...document.querySelectorAll("[data-reading=`+c+`]")].map((e) => e.textContent)`)[i])
		}
	}
	assert.Contains(t, rows[1]["note"], "ends set by eye")
	assert.True(t, readings[0].Snapped)
	assert.Contains(t, rows[0]["note"], "both ends on fitted edges of bone")
	b.click("Remove site 46")
	b.until(`document.getElementById("status").textContent === "site 46 removed"`)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.NotContains(t, string(text), "r1", "the readings of a site go with it")
	assert.Empty(t, b.complaints())
}
