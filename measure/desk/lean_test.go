package desk

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// An implant leans along the arch by keys, by two clicks and by a drag in the second picture of its step; there it turns about
// its platform and in no other plane. What is then moved in the section keeps that lean.
func TestImplantLeansAlongTheArch(t *testing.T) {
	d, _ := opened(t, planAt(t, wholePlan), Options{})
	b := newTab(t, d.Address())
	b.click("[data-step=implants] .head button")
	b.click("36")
	b.until(settled)
	b.ready("lengthwise")
	arc, _ := d.session.draft.curve().Project(r3.Vec{X: 24.3, Y: 0.3})
	f := d.session.draft.curve().Frame(arc)
	now := func() (platform, axis r3.Vec) {
		im := d.session.state().Sites[1].Implant
		return vecOf(*im.Platform), vecOf(*im.Axis)
	}
	inSection := func(v r3.Vec) r3.Vec { return r3.Unit(r3.Sub(v, r3.Scale(r3.Dot(v, f.T), f.T))) }
	draft, _ := d.session.current()
	n, err := d.session.numbers(b.ctx, draft)
	require.NoError(t, err)
	before := vecOf(n.Sites[1].Implant.Axis)
	require.InDelta(t, 0, r3.Dot(before, f.T), 1e-6, "it stands in its section")

	turned := func() {
		t.Helper()
		b.until(`document.getElementById("status").textContent === "implant 36 turned"`)
		says[bool](b, `(document.getElementById("status").textContent = "", true)`)
		b.until(settled)
		b.ready("lengthwise")
	}
	b.tabTo("Apex of the implant, along the arch")
	b.press(kb.Enter + strings.Repeat(kb.ArrowRight, 10) + kb.Enter) // 1 mm of 8
	turned()
	_, axis := now()
	want := r3.Unit(r3.Add(r3.Scale(8, before), f.T)) // the arch is drawn from the patient's right: right on the picture is along it
	assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Unit(axis), want)), 2e-3, "turned about its platform, in the plane of the picture")
	assert.Contains(t, says[string](b, `document.querySelector(".step.open [data-numbers=now]").textContent`), "implant lean", "and the table says by how much")

	at := b.middle("Apex of the implant, along the arch")
	require.NoError(t, chromedp.Do(b.ctx, chromedp.MouseClickXY(at.X, at.Y)))
	b.until(`document.querySelector(".handle.picked")`)
	require.NoError(t, chromedp.Do(b.ctx, chromedp.MouseClickXY(at.X-30, at.Y)))
	turned()
	platform, clicked := now()
	assert.Less(t, r3.Dot(clicked, f.T), r3.Dot(axis, f.T), "two clicks turn it back")
	assert.InDelta(t, 0, r3.Norm(r3.Sub(inSection(clicked), inSection(before))), 2e-3)
	at = b.middle("Apex of the implant, along the arch")
	require.NoError(t, chromedp.Do(b.ctx, chromedp.DragAndDropXY(at.X, at.Y, at.X+40, at.Y, 8)))
	turned()
	_, dragged := now()
	assert.Greater(t, r3.Dot(dragged, f.T), r3.Dot(clicked, f.T), "a drag turns it")

	b.tabTo("Platform of the implant")
	b.press(kb.Enter + kb.ArrowDown + kb.Enter)
	b.until(`document.getElementById("status").textContent === "implant 36 moved"`)
	moved, kept := now()
	assert.InDelta(t, 0, r3.Norm(r3.Sub(kept, dragged)), 1e-3, "the platform moves, the lean stays")
	assert.InDelta(t, 0.1, r3.Norm(r3.Sub(moved, platform)), 2e-3)
	b.until(settled)
	b.tabTo("Platform of the implant")
	b.press(kb.ArrowRight + kb.Enter + strings.Repeat(kb.ArrowLeft, 10) + kb.Enter)
	turned()
	b.lookAt("lean.png")
	_, both := now()
	assert.InDelta(t, r3.Dot(kept, f.T), r3.Dot(both, f.T), 0.02, "turned in its section it keeps its lean along the arch")
	assert.Greater(t, r3.Norm(r3.Sub(inSection(both), inSection(kept))), 0.05)
	require.Empty(t, b.complaints())
}

// Sizes that a person names are tried, each in its best pose; the one that is taken stands in the plan as it was tried, and the
// report's rows of the largest that hold come with it.
func TestSizesAreTriedAndOneIsTaken(t *testing.T) {
	d, _ := opened(t, planAt(t, wholePlan), Options{})
	b := newTab(t, d.Address())
	b.click("[data-step=implants] .head button")
	b.click("36")
	b.until(settled)
	b.click("Sizes to try")
	b.fill("diameters, mm", "3.5, 4")
	b.fill("lengths, mm", "6")
	b.click("Try these sizes")
	b.until(settled + ` && document.querySelector(".step.open [aria-label='Take 3.5 × 6 mm']")`)
	assert.Equal(t, 2, says[int](b, `document.querySelectorAll(".step.open [aria-label^='Take ']").length`))
	assert.Contains(t, says[string](b, `document.querySelector(".step.open [data-numbers=now]").textContent`), "largest diameter")
	b.lookAt("sizes.png")
	now, _ := d.session.current()
	n, err := d.session.numbers(b.ctx, now)
	require.NoError(t, err)
	want := n.Sites[1].Sizes[0]
	b.click("Take 3.5 × 6 mm")
	b.until(`document.getElementById("status").textContent === "implant 36: 3.5 × 6 mm taken"`)
	im := d.session.state().Sites[1].Implant
	require.NotNil(t, im.Platform)
	assert.Equal(t, []float64{3.5, 6}, []float64{im.Diameter, im.Length})
	assert.InDelta(t, 0, r3.Norm(r3.Sub(vecOf(want.Platform), vecOf(*im.Platform))), 2e-3)
	b.until(settled)
	b.click("Put the sizes away")
	b.until(`!document.querySelector(".step.open [aria-label^='Take ']")`)
	require.Empty(t, b.complaints())
}
