package desk

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// wholePlan is a plan on the jaw with two sites, an implant and a canal.
const wholePlan = `format: 1
case: pine # not her name
jaw: mandible
orientation_note: seen
occlusal: [0, 0, 1]
arch: {points: [[-28.5, 19.8, 0], [-24.3, 0.3, 0], [-15.2, -21.8, 0], [0, -30, 0], [15.2, -21.8, 0], [24.3, 0.3, 0], [28.5, 19.8, 0]]}
sites:
  - {tooth: "46", at: [-24.3, 0.3, 0]}
  - {tooth: "36", at: [24.3, 0.3, 0], implant: {diameter_mm: 4, length_mm: 8}} # left
structures:
  - {name: left canal, kind: canal, path: [[22, -8, -12], [26, 12, -13]], radius_mm: 1.5}
`

func planAt(t testing.TB, text string) string {
	path := filepath.Join(t.TempDir(), "pine.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

func axe(t testing.TB) string {
	data, err := os.ReadFile("testdata/axe/axe.min.js")
	require.NoError(t, err)
	sum := sha256.Sum256(data)
	readme, err := os.ReadFile("testdata/axe/README.md")
	require.NoError(t, err)
	require.Contains(t, string(readme), hex.EncodeToString(sum[:]))
	return string(data)
}

// windows are those in which nothing may be lost: a phone's width, 1280 × 900 at 200 %, and a wide desk's.
var windows = map[string]struct {
	width, height int64
	scale         float64
}{"320": {320, 800, 1}, "zoom": {640, 450, 2}, "2560": {2560, 1300, 1}}

// named are the headings, words and controls that can be seen or reached, by name: what a small window must not lose.
const named = `[...document.querySelectorAll("h1, h2, h3, button, input, select, summary, caption, .words, .lead, .caution, .note, [data-cell], .verdict, .letter")].filter((e) => !e.classList.contains("handle") && e.checkVisibility())
	.map((e) => (e.getAttribute("aria-label") || e.labels?.[0]?.textContent || e.textContent).trim())`

// lost are the elements that a window cuts off: out of its sides with nothing to scroll them by, or their words cut by themselves.
const lost = `[...document.querySelectorAll("body *")].filter((e) => e.checkVisibility() && !e.closest("svg, .frame") && getComputedStyle(e).position !== "fixed").filter((e) => {
	const r = e.getBoundingClientRect(), inner = e.closest(".scroll");
	const out = r.width && (r.right > document.documentElement.clientWidth + 0.5 || r.left < -0.5) && !(inner && inner !== e);
	return out || e.matches(".scroll") && e.scrollWidth > e.clientWidth + 1 || e.scrollWidth > e.clientWidth + 1 && ["hidden", "clip"].includes(getComputedStyle(e).overflowX) || e.matches("input[type=number], input[type=text]") && e.scrollWidth > e.clientWidth + 1;
}).map((e) => e.outerHTML.slice(0, 120)).join("\n")`

// No step breaks a rule of WCAG 2.2 A and AA that a program can see, in light and in dark; on a phone, at 200 % and on a wide desk none is
// wider than the window and nothing is lost, and every target is 24 px.
func TestEveryStepIsAccessible(t *testing.T) {
	d, _ := opened(t, planAt(t, wholePlan), Options{})
	b := newTab(t, d.Address())
	rules := axe(t)
	says[bool](b, rules+"; true")
	for _, scheme := range []string{"light", "dark"} {
		_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		require.NoError(t, err)
		for _, step := range []string{"way", "occlusal", "arch", "clear", "sites", "implants", "review"} {
			if !says[bool](b, `!!document.querySelector("[data-step=`+step+`].open")`) {
				b.click("[data-step=" + step + "] .head button")
			}
			b.until(`document.querySelector("[data-step=` + step + `].open") && [...document.querySelectorAll(".step.open .pane")].every((p) => p.hidden || p.dataset.ready === "yes")`)
			switch step { // as full as a step gets
			case "way":
				b.until(`![...document.querySelectorAll(".step.open .note")].some((e) => e.textContent.startsWith("Looking"))`)
			case "sites":
				b.click("Callipers")
			case "implants":
				b.click("36")
				b.ready("lengthwise")
				b.click("Sizes to try")
			case "review":
				b.until(`document.querySelector(".step.open .reasons input")`)
			}
			b.until(`document.querySelector("[data-summary=now]")`)
			found := says[string](b, `axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }).then((r) => r.violations.map((v) => v.id + ": " + v.nodes.map((n) => n.html.slice(0, 160)).join(" | ")).join("\n"))`)
			assert.Empty(t, found, "%s, %s", step, scheme)
			if scheme == "dark" {
				continue
			}
			b.lookAt("axe-" + step + ".png")
			there := says[[]string](b, named)
			for name, w := range windows {
				require.NoError(t, chromedp.Do(b.ctx, chromedp.EmulateViewport(w.width, w.height, chromedp.EmulateScale(w.scale))))
				assert.LessOrEqual(t, says[float64](b, "document.documentElement.scrollWidth - document.documentElement.clientWidth"), 0.0, "%s is wider than the window at %s", step, name)
				assert.Empty(t, says[string](b, lost), "%s at %s", step, name)
				assert.Equal(t, there, says[[]string](b, named), "%s at %s", step, name)
				narrow := says[string](b, `[...document.querySelectorAll("button, input, select, summary")].filter((e) => e.offsetParent && (e.getBoundingClientRect().height < 23.9 || e.getBoundingClientRect().width < 23.9)).map((e) => e.outerHTML.slice(0, 120)).join("\n")`)
				assert.Empty(t, narrow, "%s at %s", step, name)
				b.lookAt("axe-" + step + "-" + name + ".png")
			}
			b.size(1280, 900)
		}
	}
	require.Empty(t, b.complaints())
}

// By keys alone: an arch point is chosen, picked up, moved by a pixel, 0.1 mm and 1 mm and put down; put back; removed.
// By two clicks without a drag it goes as well, and by a drag.
func TestPointsMoveByKeysByClicksAndByDragging(t *testing.T) {
	path := planAt(t, wholePlan)
	d, _ := opened(t, path, Options{})
	b := newTab(t, d.Address())
	b.click("[data-step=arch] .head button")
	b.ready("axial")
	x := func(i int) float64 { return d.session.state().Arch[i][0] }
	b.until(find("Arch point 2 of 7"))
	says[bool](b, `(document.querySelector(".step.open [data-pane=axial] .handle[tabindex='0']").focus(), true)`)
	press := func(keys ...string) {
		for _, k := range keys {
			says[bool](b, `(document.activeElement.dispatchEvent(new KeyboardEvent("keydown", { key: "`+k+`", bubbles: true, cancelable: true })), true)`)
		}
	}
	press("ArrowRight", "ArrowRight")
	assert.Contains(t, says[string](b, `document.activeElement.getAttribute("aria-label")`), "Arch point 2 of 7, x −24.3, y 0.3, z 0.0")
	before := x(1)
	press("Enter", "ArrowRight", "ArrowRight", "Escape")
	assert.Equal(t, before, x(1), "put back")
	press("Enter", "ArrowRight", "ArrowRight", "Enter")
	b.until(`document.getElementById("status").textContent === "arch point 2 moved"`)
	assert.InDelta(t, before+0.8, x(1), 1e-3, "two pixels of 0.4 mm")
	assert.Contains(t, says[string](b, `document.activeElement.getAttribute("aria-label")`), "Arch point 2 of 7", "the focus stays on the point")

	at := b.middle("Arch point 4 of 7")
	require.NoError(t, chromedp.Do(b.ctx, chromedp.MouseClickXY(at.X, at.Y)))
	b.until(`document.querySelector(".handle.picked")`)
	require.NoError(t, chromedp.Do(b.ctx, chromedp.MouseClickXY(at.X+14, at.Y)))
	b.until(`document.getElementById("status").textContent === "arch point 4 moved"`)
	assert.Greater(t, x(3), 1.0)

	at = b.middle("Arch point 3 of 7")
	at3 := x(2)
	require.NoError(t, chromedp.Do(b.ctx, chromedp.DragAndDropXY(at.X, at.Y, at.X+14, at.Y, 5)))
	b.until(`document.getElementById("status").textContent === "arch point 3 moved"`)
	assert.Greater(t, x(2), at3+1)

	n := len(d.session.state().Arch)
	says[bool](b, `(`+find("Arch point 6 of 7")+`.focus(), true)`)
	press("Delete")
	b.until(`document.getElementById("status").textContent === "arch point 6 removed"`)
	assert.Len(t, d.session.state().Arch, n-1)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Contains(t, string(text), "case: pine # not her name", "what was written by hand stays")
}

// What somebody sends who has the secret and no good will: nothing is changed, and no path becomes a file's name.
func TestHostileActs(t *testing.T) {
	path := planAt(t, wholePlan)
	d, _ := opened(t, path, Options{})
	secret := d.secrets.enter("Bearer " + d.secrets.invite())
	tag := d.session.state().Tag
	for name, c := range map[string]struct {
		body string
		want int
	}{
		"a file's name":         {`{"words":"x","edits":[{"do":"set","path":"arch.file","value":"../../etc/passwd"}]}`, 422},
		"a file's name within":  {`{"words":"x","edits":[{"do":"insert","path":"structures[1]","value":{"name":"s","kind":"sinus","surface":"/etc/passwd"}}]}`, 422},
		"a key nobody edits":    {`{"words":"x","edits":[{"do":"set","path":"margins_mm.canal","value":0}]}`, 422},
		"a review by hand":      {`{"words":"x","edits":[{"do":"set","path":"review","value":{}}]}`, 422},
		"no edit":               {`{"words":"x","edits":[]}`, 422},
		"no value":              {`{"words":"x","edits":[{"do":"set","path":"case"}]}`, 422},
		"a place far away":      {`{"words":"x","edits":[{"do":"set","path":"sites[999999999999999999999].tooth","value":"36"}]}`, 422},
		"a way nobody knows":    {`{"words":"x","edits":[{"do":"drop","path":"case","value":"x"}]}`, 422},
		"brackets in brackets":  {`{"words":"x","edits":[{"do":"set","path":"case","value":` + strings.Repeat("[", 200) + strings.Repeat("]", 200) + `}]}`, 422},
		"no JSON":               {`]`, 400},
		"a field nobody has":    {`{"words":"x","edits":[],"file":"x"}`, 400},
		"too much":              {`{"words":"` + strings.Repeat("x", largestBody) + `"}`, 413},
		"half of several edits": {`{"words":"x","edits":[{"do":"set","path":"case","value":"gone"},{"do":"set","path":"for","value":"x"}]}`, 422},
	} {
		r, err := http.NewRequest("POST", "http://127.0.0.1:"+d.port()+"/api/do", strings.NewReader(c.body))
		require.NoError(t, err)
		r.Header.Set("Authorization", "Bearer "+secret)
		r.Header.Set("If-Match", `"`+tag+`"`)
		w, err := http.DefaultClient.Do(r)
		require.NoError(t, err, name)
		assert.Equal(t, c.want, w.StatusCode, name)
		w.Body.Close()
	}
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, wholePlan, string(text))
	for _, p := range []string{"/../session.go", "/page/../../session.go", "/%2e%2e/session.go", "/session.go", "/etc/passwd"} {
		w, err := http.Get("http://127.0.0.1:" + d.port() + p)
		require.NoError(t, err)
		assert.Equal(t, 404, w.StatusCode, p)
		w.Body.Close()
	}
}

// Another program changes the plan: another place of it is taken and shown, the same place is asked.
func TestPlanChangedOutside(t *testing.T) {
	path := planAt(t, wholePlan)
	s, err := openSession(jawScan(t), path, false, func() time.Time { return noon })
	require.NoError(t, err)
	defer s.close()
	tag := s.draft.tag
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(wholePlan, "diameter_mm: 4", "diameter_mm: 5", 1)), 0o600))
	require.NoError(t, s.do("tooth", tag, []edit{{"set", "sites[0].tooth", []byte(`"47"`)}}))
	assert.Contains(t, string(s.draft.text), "diameter_mm: 5")
	assert.Contains(t, string(s.draft.text), `tooth: "47"`)
	tag = s.draft.tag
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(s.draft.text), `tooth: "47"`, `tooth: "48"`, 1)), 0o600))
	err = s.do("tooth", tag, []edit{{"set", "sites[0].tooth", []byte(`"45"`)}})
	var clash *conflict
	require.ErrorAs(t, err, &clash)
	assert.Equal(t, conflict{"sites[0].tooth", `"45"`, `"48"`}, *clash)
	assert.Contains(t, string(s.draft.text), `tooth: "48"`)
	require.ErrorIs(t, s.do("tooth", tag, []edit{{"set", "sites[0].tooth", []byte(`"45"`)}}), ErrStale)

	second, err := openSession(jawScan(t), path, false, func() time.Time { return noon })
	require.NoError(t, err)
	assert.Contains(t, second.readOnly, fmt.Sprint("held by process ", os.Getpid()))
	require.ErrorIs(t, second.do("x", second.draft.tag, nil), ErrAct)
	require.NoError(t, second.close())
}
