package desk

import (
	"bytes"
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/plan"
	"ridgerule/measure/report"
)

// acts returns how many acts the journal of a plan has.
func acts(t *testing.T, path string) int {
	lines, err := os.ReadFile(journalOf(path))
	require.NoError(t, err)
	return bytes.Count(lines, []byte("\n"))
}

// canal returns the ends of the jaw's canal on a side, and its name.
func canalEnds(t *testing.T, side string) (from, to r3.Vec) {
	j, err := drawn()
	require.NoError(t, err)
	for _, s := range j.Plan().Structures {
		if s.Kind == "canal" && (s.Path[0].X > 0) == (side == "left") {
			return s.Path[1], s.Path[len(s.Path)-2]
		}
	}
	t.Fatal("no canal")
	return
}

// table measures a plan as the command does.
func tableOf(t *testing.T, path string) []byte {
	p, source, err := plan.Open(path)
	require.NoError(t, err)
	scan := jawScan(t)
	placed, err := p.Place(scan.Volume.Grid, source)
	require.NoError(t, err)
	r, err := measure.Run(context.Background(), scan.Volume, placed, scan.Facts, measure.Options{})
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, report.MeasurementsCSV(&b, r))
	return b.Bytes()
}

// settled waits until the numbers on the page are those of the plan.
const settled = `document.querySelector(".step.open [data-numbers=now]") && document.querySelector("[data-summary=now]")`

// The way from nothing to a reviewed plan with the mouse alone, as a person goes it: the plan measures to the same text as
// the page showed; nothing left the origin, and undone to the beginning and redone it is the same bytes.
func TestFromNothingToAReviewedPlan(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pine.yaml")
	written, said := 0, (*measure.Reviewed)(nil)
	d, _ := opened(t, path, Options{Write: func(_ context.Context, _ *plan.Placed, r *measure.Result) (string, error) {
		written++
		said = r.Plan.Review
		return strings.Repeat("ab", 32), nil
	}})
	b := newTab(t, d.Address())
	b.ready("axial")
	b.ready("across")
	b.lookAt("1-way.png")
	b.click("Lower jaw (mandible)")
	b.click("Yes, R is the patient's right")
	b.until(`document.querySelector("[data-step=occlusal].open")`)
	b.ready("axial")
	b.lookAt("2-occlusal.png")
	b.click("Accept the direction")
	b.until(`document.querySelector("[data-step=arch].open")`)
	j, err := drawn()
	require.NoError(t, err)
	arch := j.Plan().Arch
	for i := range 9 {
		b.mark(arch[i*(len(arch)-1)/8])
		b.until(`document.querySelectorAll(".step.open .points tbody tr").length === ` + strconv.Itoa(i+2))
	}
	b.ready("panoramic")
	b.lookAt("3-arch.png")
	b.click(".step.open .row:last-child button")
	b.until(`document.querySelector("[data-step=clear].open")`)
	markCanals(t, b)
	b.click(".step.open > div > .row:last-child button")
	b.until(`document.querySelector("[data-step=sites].open")`)
	b.clickOn("panoramic", 0.14, 0.35)
	b.until(settled)
	b.clickOn("panoramic", 0.84, 0.35)
	b.until(`document.querySelectorAll("[data-step=sites] [aria-label=Sites] button").length === 2`)
	b.until(settled)
	b.ready("section")
	b.lookAt("5-sites.png")
	b.click(".step.open > div > .row:last-child button")
	b.until(`document.querySelector("[data-step=implants].open")`)
	b.click("Place one of 4 × 10 mm")
	b.until(`document.querySelector(".handle.end")`)
	b.until(settled)
	b.ready("section")
	b.lookAt("6-implants.png")
	b.shown("../../docs/images/page.png")
	b.click(".step.open > div > .row:last-child button")
	b.until(`document.querySelector("[data-step=review].open")`)
	b.until(settled)
	holdPageAgainstTable(t, b, path)
	reviewed(t, b, path)
	b.click("Write the report and all tables")
	b.until(`document.getElementById("status").textContent.startsWith("Written")`)
	assert.Equal(t, 3, written, "what was reviewed, the same with who reviewed it, and once more")
	require.NotNil(t, said)
	assert.Equal(t, measure.Reviewed{By: "A. Reviewer", Role: "oral surgeon", At: said.At}, *said)
	undoneAndRedone(t, b, path)
	require.Empty(t, b.complaints())
}

// markCanals traces both canals and answers for everything else.
func markCanals(t *testing.T, b *tab) {
	t.Helper()
	for _, side := range []string{"right", "left"} {
		b.click("Mark")
		from, to := canalEnds(t, side)
		b.mark(from)
		b.mark(to)
		b.click("Trace between the marks")
		b.click("Take the path")
		b.click("Confirm " + side + " canal")
		b.until(`!document.querySelector("[aria-label='Confirm ` + side + ` canal']")`)
	}
	b.ready("section")
	b.lookAt("4-clear.png")
	for left := 4; left > 0; left-- {
		b.until(`[...document.querySelectorAll(".step.open button")].filter((e) => e.textContent === "Absent").length === ` + strconv.Itoa(left))
		b.click("Absent")
	}
	b.until(`document.querySelector("[data-step=clear].done")`)
}

// holdPageAgainstTable holds what the page shows of the first site against the command's table of the plan on the disk.
func holdPageAgainstTable(t *testing.T, b *tab, path string) {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(tableOf(t, path))).ReadAll()
	require.NoError(t, err)
	site := says[string](b, `document.querySelector(".step.open h3").textContent.slice(0, 2)`)
	var want []string
	for _, r := range rows[1:] {
		if r[1] == site {
			want = append(want, r[6], r[9], r[7])
		}
	}
	require.NotEmpty(t, want)
	assert.Equal(t, want, says[[]string](b, `[...document.querySelectorAll(".step.open [data-cell]")].map((c) => c.textContent)`))
}

// reviewed records a review and sees it become void and good again.
func reviewed(t *testing.T, b *tab, path string) {
	t.Helper()
	b.until(`document.querySelector(".step.open [data-ready=yes] h3, .step.open div[data-ready=yes]")`)
	b.lookAt("7-review.png")
	b.click("Looked at 47")
	b.click("Looked at 37")
	b.until(`document.querySelector(".step.open .lead").textContent === "Every section was looked at."`)
	b.until(`![...document.querySelectorAll(".reasons span")].some((e) => e.textContent.includes("not looked at"))`)
	b.fill("Name", "A. Reviewer")
	b.fill("Role", "oral surgeon")
	b.click("Record the review")
	b.until(`document.getElementById("status").textContent !== ""`)
	if n := says[int](b, `document.querySelectorAll(".step.open div[data-ready=yes] input").length`); n > 0 {
		b.until(`document.getElementById("status").textContent.includes("give a reason")`)
		for i := range n {
			says[bool](b, `((e) => { e.focus(); e.value = "seen, accepted"; e.dispatchEvent(new Event("input")); return true; })(document.querySelectorAll(".step.open div[data-ready=yes] input")[`+strconv.Itoa(i)+`])`)
		}
		b.click("Record the review")
	}
	b.until(`document.querySelector("[data-step=review].done")`)
	p, _, err := plan.Open(path)
	require.NoError(t, err)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NotNil(t, p.Review)
	assert.Equal(t, plan.Hash(text), p.Review.PlanSHA256)
	assert.Equal(t, strings.Repeat("ab", 32), p.Review.ResultSHA256)
	assert.Equal(t, []string{p.Sites[0].ID, p.Sites[1].ID}, p.Review.Looked)
}

// undoneAndRedone takes the last acts back on the page and does them again; the rest of them behind it.
func undoneAndRedone(t *testing.T, b *tab, path string) {
	t.Helper()
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	for _, way := range []string{"Undo", "Undo", "Redo", "Redo"} {
		n := acts(t, path)
		b.click(way)
		b.until(`document.getElementById("status").textContent !== ""`)
		for end := time.Now().Add(20 * time.Second); acts(t, path) == n && time.Now().Before(end); {
			says[int](b, "1")
		}
	}
	assert.Eventually(t, func() bool { // the journal comes before the plan
		now, err := os.ReadFile(path)
		return err == nil && string(now) == string(whole)
	}, 10*time.Second, 50*time.Millisecond)
}

// Everything taken back to the beginning and done again gives the same bytes, over a restart between any two acts.
func TestEveryActTakenBackAndDoneAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pine.yaml")
	begin := func() *session {
		s, err := openSession(jawScan(t), path, false, time.Now)
		require.NoError(t, err)
		return s
	}
	s := begin()
	texts := []string{string(s.draft.text)}
	for _, e := range []edit{
		{"set", "jaw", []byte(`"mandible"`)},
		{"insert", "arch.points[0]", []byte(`[1, 2.12345, 3]`)},
		{"insert", "arch.points[1]", []byte(`[4, 5, 6]`)},
		{"set", "arch.points[0]", []byte(`[7, 8, 9]`)},
		{"insert", "sites[0]", []byte(`{"tooth": "36", "id": "36", "at": [1, 2, 3]}`)},
		{"set", "sites[0].implant", []byte(`{"platform": [1, 2, 3], "axis": [0, 0, -2], "diameter_mm": 4, "length_mm": 10}`)},
		{"insert", "structures[0]", []byte(`{"name": "left canal", "kind": "canal", "path": [[1, 2, 3], [4, 5, 6]], "radius_mm": 1.5}`)},
		{"delete", "structures[0]", nil},
		{"delete", "sites[0]", nil},
	} {
		require.NoError(t, s.do("act", s.draft.tag, []edit{e}), e.Path)
		texts = append(texts, string(s.draft.text))
	}
	for i := len(texts) - 2; i >= 0; i-- {
		require.NoError(t, s.turn(verbUndo, s.draft.tag))
		require.Equal(t, texts[i], string(s.draft.text))
		require.NoError(t, s.close())
		s = begin()
	}
	for i := 1; i < len(texts); i++ {
		require.NoError(t, s.turn(verbRedo, s.draft.tag))
		require.Equal(t, texts[i], string(s.draft.text))
	}
	assert.Contains(t, texts[2], "[1, 2.123, 3]", "three decimals")
	require.NoError(t, s.close())
}
