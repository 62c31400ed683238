package desk

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/measure/plan"
)

// finger puts a finger on a spot, moves it there, or takes it away where there is no spot.
func (b *tab) finger(kind input.DispatchTouchEventType, at ...spot) {
	b.t.Helper()
	points := []*input.TouchPoint{}
	for _, s := range at {
		points = append(points, &input.TouchPoint{X: s.X, Y: s.Y})
	}
	_, err := chromedp.Call(b.ctx, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: kind, TouchPoints: points})
	require.NoError(b.t, err)
}

// By touch: a tap makes a point, a finger drags one and sees beside itself what it hides, and another finger's cancel puts it back.
// A picture is drawn wider or narrower, and its voxels as they are, where somebody asks.
func TestPointsMoveByTouch(t *testing.T) {
	d, _ := opened(t, planAt(t, wholePlan), Options{})
	b := newTab(t, d.Address())
	require.NoError(t, chromedp.Do(b.ctx, chromedp.EmulateViewport(800, 900, chromedp.EmulateTouch)))
	b.click("[data-step=arch] .head button")
	b.ready("axial")
	b.until(find("Arch point 3 of 7"))
	x := func() float64 { return d.session.state().Arch[2][0] }
	at, before := b.middle("Arch point 3 of 7"), x()
	b.finger(input.DispatchTouchEventTypeTouchStart, at)
	b.finger(input.DispatchTouchEventTypeTouchMove, spot{at.X + 10, at.Y})
	b.finger(input.DispatchTouchEventTypeTouchMove, spot{at.X + 20, at.Y})
	b.until(`document.querySelector(".step.open .loupe")`)
	b.lookAt("touch.png")
	b.finger(input.DispatchTouchEventTypeTouchEnd)
	b.until(`document.getElementById("status").textContent === "arch point 3 moved"`)
	b.until(`!document.querySelector(".step.open .loupe")`)
	assert.Greater(t, x(), before+1)

	moved := x()
	at = b.middle("Arch point 3 of 7")
	b.finger(input.DispatchTouchEventTypeTouchStart, at)
	b.finger(input.DispatchTouchEventTypeTouchMove, spot{at.X + 20, at.Y})
	b.finger(input.DispatchTouchEventTypeTouchCancel)
	b.until(`document.getElementById("status").textContent === "Put back."`)
	assert.Equal(t, moved, x())
	assert.False(t, says[bool](b, `!!document.querySelector(".step.open .loupe")`), "the loupe goes with the finger")

	n, at := len(d.session.state().Arch), b.on("axial", 0.5, 0.5)
	b.finger(input.DispatchTouchEventTypeTouchStart, at)
	b.finger(input.DispatchTouchEventTypeTouchEnd)
	b.until(`document.getElementById("status").textContent === "arch point added"`)
	assert.Len(t, d.session.state().Arch, n+1)

	b.click("[data-step=clear] .head button")
	b.ready("section")
	b.slide("Width of the picture", 20)
	b.until(`document.querySelector(".step.open [data-pane=section]").dataset.ready === "yes" && document.querySelector(".step.open [data-pane=section] canvas").width === 321`)
	b.click("voxels as they are")
	b.until(`document.querySelector(".step.open [data-pane=section] .words").textContent.includes("voxels as they are")`)
	b.ready("section")
	b.lookAt("voxels.png")
	require.Empty(t, b.complaints())
}

// Two tabs of one page: what is done in one is seen in the other without asking, and what the other did before it saw it is not
// done on a plan that it does not know.
func TestTwoTabsOfOnePage(t *testing.T) {
	d, _ := opened(t, planAt(t, wholePlan), Options{})
	a, b := newTab(t, d.Address()), newTab(t, d.Address())
	for _, one := range []*tab{a, b} {
		one.click("[data-step=sites] .head button")
		one.until(`document.querySelectorAll("[data-step=sites] [aria-label=Sites] button").length === 2`)
	}
	before := d.session.state().Tag
	a.click("Remove site 46")
	b.until(`document.querySelectorAll("[data-step=sites] [aria-label=Sites] button").length === 1`)
	status, why := post(t, d, d.secrets.enter("Bearer "+d.secrets.invite()), "do", before, map[string]any{"words": "late", "edits": []edit{{"delete", "sites[0]", nil}}})
	assert.Equal(t, 412, status, why)
	assert.Len(t, d.session.state().Sites, 1)
	require.Empty(t, append(a.complaints(), b.complaints()...))
}

// A measurement that gives nothing is said, for as long as it holds: numbers of an earlier plan do not wait for ever as "measuring".
func TestMeasurementThatFailsIsSaid(t *testing.T) {
	d, _ := opened(t, planAt(t, wholePlan), Options{})
	b := newTab(t, d.Address())
	b.click("[data-step=sites] .head button")
	b.until(`document.querySelector("[data-summary=now]")`)
	says[bool](b, `(window.kept = window.fetch, window.fetch = (u, o) => String(u).includes("/api/numbers") ? Promise.reject(new Error("out of order")) : window.kept(u, o), true)`)
	require.NoError(t, d.session.do("canal", d.session.draft.tag, []edit{{"set", "structures[0].radius_mm", []byte("2")}}))
	b.until(`document.getElementById("case").textContent.includes("Not measured: out of order")`)
	assert.NotContains(t, says[string](b, `document.body.innerText`), "measuring …")
	assert.Contains(t, says[string](b, `document.querySelector("[data-summary=old]").textContent`), "old, not measured again")
	b.lookAt("failed.png")
	// The server goes, and comes again: what could not be measured is asked for once more.
	says[bool](b, `(window.fetch = () => Promise.reject(new Error("gone")), true)`)
	require.NoError(t, d.session.do("canal", d.session.draft.tag, []edit{{"set", "structures[0].radius_mm", []byte("1.8")}}))
	b.until(`document.querySelector("#case .gone") && document.getElementById("case").textContent.includes("Not measured: gone")`)
	says[bool](b, `(window.fetch = (u, o) => window.kept(String(u).replace(/watch.*/, "state"), o), true)`) // no news, at once
	b.until(`document.querySelector("[data-summary=now]")`)
	assert.NotContains(t, says[string](b, `document.getElementById("case").textContent`), "Not measured: ")
}

// What is wrong in the plan's text is said with its line and remedy, and what is only still to come is not; what the image suggests
// is said not to be known where it cannot be asked.
func TestFaultsOfThePlanAreSaid(t *testing.T) {
	d, _ := opened(t, planAt(t, strings.NewReplacer("jaw: mandible", "jaw: mandibel", "case: pine # not her name\n", "").Replace(wholePlan)), Options{})
	b := newTab(t, d.Address())
	said := says[string](b, `document.getElementById("case").innerText`)
	assert.Contains(t, said, `line 2: jaw is "mandibel"; did you mean mandible?`)
	assert.NotContains(t, said, "case is missing")
	says[bool](b, `(window.kept = window.fetch, window.fetch = (u, o) => String(u).includes("/api/propose") ? Promise.reject(new Error("out of order")) : window.kept(u, o), true)`)
	b.click("[data-step=occlusal] .head button")
	b.until(`document.querySelector(".step.open").innerText.includes("Whether the image suggests another direction is not known: out of order.")`)
	b.lookAt("faults.png")
}

// A plan of which nothing can be read is refused with the place and the remedy, and nobody holds it afterwards.
func TestPlanThatCannotBeReadIsRefused(t *testing.T) {
	for _, readOnly := range []bool{false, true} {
		path := planAt(t, "jaw: [\n")
		_, err := Open(jawScan(t), path, Options{ReadOnly: readOnly})
		var faults plan.Errors
		require.ErrorAs(t, err, &faults)
		require.ErrorContains(t, err, "not readable as YAML")
		left, err := os.ReadDir(filepath.Dir(path))
		require.NoError(t, err)
		require.Len(t, left, 1, "nothing is left beside it")
		_, err = Open(jawScan(t), filepath.Join(filepath.Dir(path), "nowhere", "plan.yaml"), Options{ReadOnly: readOnly})
		require.ErrorContains(t, err, "its folder does not exist")
		require.NoError(t, os.WriteFile(path, []byte(wholePlan), 0o600))
		d, err := Open(jawScan(t), path, Options{ReadOnly: readOnly})
		require.NoError(t, err)
		require.Empty(t, d.session.draft.faults)
		require.NoError(t, d.session.close())
	}
}
