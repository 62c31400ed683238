package desk

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// press presses keys, one after the other.
func (b *tab) press(keys string) {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.ctx, chromedp.KeyEvent(keys)))
}

// tabTo presses Tab until what a person means has the focus.
func (b *tab) tabTo(what string) {
	b.t.Helper()
	b.until(`((e) => e && !e.disabled)(` + find(what) + `)`)
	for range 5 { // the page may gain or lose stops on the way
		n := says[int](b, `(() => { const all = [...document.querySelectorAll("*")].filter((e) => e.tabIndex >= 0 && !e.disabled && e.checkVisibility() &&
			(e.type !== "radio" || e === (document.querySelector("input[name=" + e.name + "]:checked") || document.querySelector("input[name=" + e.name + "]")))), to = all.indexOf(`+find(what)+`);
			const at = document.activeElement, passed = all.filter((e) => e === at || at.compareDocumentPosition(e) & Node.DOCUMENT_POSITION_PRECEDING).length;
			return to < 0 ? -1 : at === all[to] ? 0 : to >= passed ? to - passed + 1 : to - passed + 1 + all.length; })()`)
		if n == 0 {
			return
		}
		require.Positive(b.t, n, "%s is no stop of Tab", what)
		b.press(strings.Repeat("\t", n))
		if says[bool](b, `document.activeElement === `+find(what)) {
			return
		}
	}
	b.t.Fatalf("Tab does not come to %s, but to %s", what, says[string](b, `document.activeElement.outerHTML.slice(0, 200)`))
}

// enter goes to what a person means and presses Enter.
func (b *tab) enter(what string) {
	b.t.Helper()
	b.tabTo(what)
	b.press(kb.Enter)
}

// write goes to a field and types into it.
func (b *tab) write(field, text string) {
	b.t.Helper()
	b.tabTo(field)
	b.press(text)
}

// The whole way from nothing to a reviewed plan by keys alone: Tab, Enter, arrows and what is typed. No event but a key's is made.
func TestWholeWayByKeys(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pine.yaml")
	d, _ := opened(t, path, Options{})
	b := newTab(t, d.Address())
	b.enter("Lower jaw (mandible)")
	b.enter("Yes, R is the patient's right")
	b.until(`document.querySelector("[data-step=occlusal].open")`)
	b.enter("Accept the direction")
	b.until(`document.querySelector("[data-step=arch].open")`)
	b.enter("Propose a curve")
	b.until(`document.querySelectorAll(".step.open .points tbody tr").length > 7`)
	b.enter("The curve is right")
	b.until(`document.querySelector("[data-step=clear].open")`)
	canalsByKeys(t, b)
	b.enter(".step.open > div > .row:last-child button")
	b.until(`document.querySelector("[data-step=sites].open")`)
	b.ready("panoramic")
	b.tabTo("New site")
	b.press(kb.Enter + strings.Repeat(kb.ArrowRight, 120) + kb.Enter) // 36 mm to the patient's left
	b.until(settled)
	b.write("At ", "24\t\t")
	b.press(kb.Enter)
	b.until(`document.querySelectorAll("[data-step=sites] [aria-label=Sites] button").length === 2`)
	b.until(settled)
	b.enter(".step.open > div > .row:last-child button")
	b.until(`document.querySelector("[data-step=implants].open")`)
	b.enter("Place one of 4 × 10 mm")
	b.until(`document.querySelector(".handle.end")`)
	b.until(settled)
	b.ready("section")
	now, _ := d.session.current()
	n, err := d.session.numbers(b.ctx, now)
	require.NoError(t, err)
	require.NotNil(t, n.Sites[1].Implant, "the site that was chosen last")
	platform := *n.Sites[1].Implant
	b.tabTo("Platform of the implant")
	b.press(kb.Enter + kb.ArrowDown + kb.ArrowDown + kb.PageDown + kb.Enter)
	b.until(`document.getElementById("status").textContent.match(/^implant .* moved$/)`)
	b.until(settled)
	at := d.session.state().Sites[1].Implant.Platform
	require.NotNil(t, at)
	assert.InDelta(t, platform.Platform[2]-1.2, at[2], 2e-3, "two pixels of 0.1 mm and one mm toward the feet")
	b.enter(".step.open > div > .row:last-child button")
	b.until(`document.querySelector("[data-step=review].open")`)
	b.until(settled)
	reviewByKeys(b)
	holdPageAgainstTable(t, b, path)
	require.NotNil(t, d.session.state().Review)
	assert.Empty(t, d.session.state().Review.Void)
	require.Empty(t, b.complaints())
}

// canalsByKeys marks both canals by their coordinates, has them traced, and answers for everything else.
func canalsByKeys(t *testing.T, b *tab) {
	t.Helper()
	for _, side := range []string{"right", "left"} {
		b.enter("Mark")
		from, to := canalEnds(t, side)
		for i, p := range [][3]float64{{from.X, from.Y, from.Z}, {to.X, to.Y, to.Z}} {
			b.write("New mark, x, mm", fmt.Sprintf("%.1f\t%.1f\t%.1f\t", p[0], p[1], p[2]))
			b.press(kb.Enter)
			b.until(fmt.Sprintf(`document.querySelectorAll(".step.open .points tbody tr").length === %d`, i+2))
		}
		b.enter("Trace between the marks")
		b.enter("Take the path")
		b.enter("Confirm " + side + " canal")
		b.until(`!document.querySelector("[aria-label='Confirm ` + side + ` canal']")`)
	}
	for left := 4; left > 0; left-- {
		b.until(fmt.Sprintf(`[...document.querySelectorAll(".step.open button")].filter((e) => e.textContent === "Absent").length === %d`, left))
		b.enter("Absent")
	}
	b.until(`document.querySelector("[data-step=clear].done")`)
}

// reviewByKeys looks at every section and gives a reason for whatever is open.
func reviewByKeys(b *tab) {
	b.enter("Looked at 36")
	b.enter("Looked at 47")
	b.until(`document.querySelector(".step.open .lead").textContent === "Every section was looked at."`)
	b.until(`![...document.querySelectorAll(".reasons span")].some((e) => e.textContent.includes("not looked at"))`)
	for range says[int](b, `document.querySelectorAll(".reasons input").length`) {
		b.tabTo(`[data-step=review] .reasons label:has(input:placeholder-shown) input`)
		b.press("seen")
	}
	b.write("Name", "A. Reviewer")
	b.write("Role", "oral surgeon")
	b.enter("Record the review")
	b.until(`document.querySelector("[data-step=review].done")`)
}
