package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/phantom"
)

const chromium = "/usr/bin/chromium"

// jaw is the small lower jaw that the tests of this room look at: made once.
var jaw = sync.OnceValues(func() (*volume.Volume, error) {
	j, err := drawn()
	if err != nil {
		return nil, err
	}
	return j.Volume(context.Background(), nil)
})

// drawn is its shape, which knows its arch and its canals.
var drawn = sync.OnceValues(func() (*phantom.Jaw, error) {
	o := phantom.Options{Sites: []int{36, 46}}
	o.Scan.Voxel, o.Scan.Blur = [3]float64{0.6, 0.6, 0.6}, 0.3
	return phantom.New(o)
})

func jawScan(t testing.TB) Scan {
	v, err := jaw()
	require.NoError(t, err)
	return Scan{Volume: v, Synthetic: true, Facts: measure.Scan{SeriesHash: strings.Repeat("0123456789abcdef", 4), Orientation: "axial", Encoding: "none", Verdict: "fit"}}
}

// opened is a desk on the jaw that is served until the test ends; stop ends it before.
func opened(t testing.TB, plan string, o Options) (d *Desk, stop func()) {
	t.Helper()
	d, err := Open(jawScan(t), plan, o)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.Serve(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		require.NoError(t, <-ended)
	})
	t.Cleanup(stop)
	return d, stop
}

// tab is a page in Chromium.
type tab struct {
	t   testing.TB
	ctx context.Context

	mu   sync.Mutex
	seen []string // requests that left the origin, and what the browser complained about
}

// newTab opens an address in Chromium, or skips the test where there is none.
func newTab(t testing.TB, address string) *tab {
	t.Helper()
	if _, err := os.Stat(chromium); err != nil {
		t.Skip("chromium is not installed")
	}
	ctx, cancel := context.WithTimeout(context.Background(), 6*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium))...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	b := &tab{t: t, ctx: ctx}
	require.NoError(t, chromedp.Do(ctx))
	origin, _, _ := strings.Cut(address, "/#")
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		b.mu.Lock()
		defer b.mu.Unlock()
		switch e := ev.(type) {
		case *network.EventRequestWillBeSent:
			if u := e.Request.URL; !strings.HasPrefix(u, "data:") && !strings.HasPrefix(u, origin+"/") {
				b.seen = append(b.seen, "request: "+u)
			}
		case *log.EventEntryAdded:
			if strings.Contains(e.Entry.Text, "status of 4") { // a refusal, which the page shows in words
				return
			}
			b.seen = append(b.seen, "log: "+e.Entry.Text+" "+e.Entry.URL)
		case *runtime.EventExceptionThrown:
			b.seen = append(b.seen, "exception: "+fmt.Sprint(e.ExceptionDetails.Text, " ", e.ExceptionDetails.Exception.Description))
		}
	}))
	_, err := chromedp.Call(ctx, network.Enable, network.EnableParams{})
	require.NoError(t, err)
	_, err = chromedp.Call(ctx, log.Enable, struct{}{})
	require.NoError(t, err)
	b.size(1280, 900)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(address)))
	b.until(`!!document.querySelector(".step.open")`)
	return b
}

func (b *tab) complaints() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]string{}, b.seen...)
}

func (b *tab) size(width, height int64) {
	require.NoError(b.t, chromedp.Do(b.ctx, chromedp.EmulateViewport(width, height)))
}

// says evaluates an expression on the page.
func says[T any](b *tab, expression string) T {
	b.t.Helper()
	out, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(b.t, err, expression)
	return out
}

// until waits until an expression is true.
func (b *tab) until(expression string) {
	b.t.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(30 * time.Millisecond) {
		if says[bool](b, "!!("+expression+")") {
			return
		}
	}
	b.t.Fatalf("never true: %s\nstatus: %s\n%s\n%v", expression, says[string](b, `document.getElementById("status").textContent`), says[string](b, `document.body.innerText.slice(0, 3000)`), b.complaints())
}

// spot is a place in the window, CSS px.
type spot struct{ X, Y float64 }

// find is JavaScript for the element that a person means: by its words, its name or a selector.
func find(what string) string {
	quoted, _ := json.Marshal(what)
	return `((w) => { const all = [...document.querySelectorAll("button, input, select, summary, a")].filter((e) => !e.hidden && e.offsetParent);
	const name = (e) => e.getAttribute("aria-label") || e.labels?.[0]?.textContent || e.textContent;
	return all.find((e) => name(e).trim() === w) || all.find((e) => name(e).trim().startsWith(w)) || document.querySelector(w.match(/^[.#\[a-z]/) ? w : "no-such"); })(` + string(quoted) + `)`
}

// middle brings an element into sight and returns its middle.
func (b *tab) middle(what string) spot {
	b.t.Helper()
	b.until(find(what))
	return says[spot](b, `(() => { const e = `+find(what)+`; e.scrollIntoView({ block: "center", behavior: "instant" }); const r = e.getBoundingClientRect(); return { X: r.x + r.width / 2, Y: r.y + r.height / 2 }; })()`)
}

// click clicks with the mouse on what a person means.
func (b *tab) click(what string) {
	b.t.Helper()
	b.until(`((e) => e && !e.disabled)(` + find(what) + `)`)
	at := b.middle(what)
	require.NoError(b.t, chromedp.Do(b.ctx, chromedp.MouseClickXY(at.X, at.Y)))
}

// on returns where in the window a fraction of a picture lies, once it is whole.
func (b *tab) on(pane string, x, y float64) spot {
	b.t.Helper()
	b.ready(pane)
	return says[spot](b, fmt.Sprintf(`(() => { const c = document.querySelector(".step.open [data-pane=%s] canvas"); c.scrollIntoView({ block: "center", behavior: "instant" }); const r = c.getBoundingClientRect(); return { X: r.x + r.width * %g, Y: r.y + r.height * %g }; })()`, pane, x, y))
}

func (b *tab) ready(pane string) {
	b.t.Helper()
	b.until(`[...document.querySelectorAll(".step.open [data-pane=` + pane + `]")].every((p) => p.dataset.ready === "yes") && document.querySelector(".step.open [data-pane=` + pane + `] canvas").width > 1`)
}

// clickOn clicks on a picture.
func (b *tab) clickOn(pane string, x, y float64) {
	b.t.Helper()
	at := b.on(pane, x, y)
	require.NoError(b.t, chromedp.Do(b.ctx, chromedp.MouseClickXY(at.X, at.Y)))
}

// fill types into a field as a person does, and leaves it.
func (b *tab) fill(what, text string) {
	b.t.Helper()
	b.click(what)
	says[bool](b, `(document.activeElement.select?.(), true)`)
	require.NoError(b.t, chromedp.Do(b.ctx, chromedp.KeyEvent(text+"\t")))
}

// place is where on an axial picture a patient's point lies: the fractions of its width and height.
func place(p r3.Vec, v *volume.Volume) (x, y float64) {
	const step = 0.4 // of page/views.js
	b := v.Bounds()
	at := func(mm, length float64) float64 { return (mm/step + 0.5) / float64(pixels(length, step)) }
	return at(p.X-b.Min.X, b.Max.X-b.Min.X), at(p.Y-b.Min.Y, b.Max.Y-b.Min.Y)
}

// mark clicks a patient's point on the slab, at its height.
func (b *tab) mark(p r3.Vec) {
	b.t.Helper()
	v, err := jaw()
	require.NoError(b.t, err)
	b.slide("Height, z", math.Round(2*p.Z)/2)
	x, y := place(p, v)
	b.clickOn("axial", x, y)
}

// slide moves a slider.
func (b *tab) slide(name string, to float64) {
	b.t.Helper()
	b.until(find(name))
	says[bool](b, fmt.Sprintf(`(() => { const e = %s; e.value = %g; e.dispatchEvent(new Event("input", { bubbles: true })); return true; })()`, find(name), to))
}

// shown makes the picture of the docs when DESK_DOCS is set: the step that is open, as a window shows it.
func (b *tab) shown(path string) {
	b.t.Helper()
	if os.Getenv("DESK_DOCS") == "" {
		return
	}
	b.size(1180, 860)
	says[bool](b, `(document.getElementById("status").textContent = "", document.querySelector(".step.open").scrollIntoView({ block: "start" }), document.activeElement.blur(), true)`)
	png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	require.NoError(b.t, err)
	require.NoError(b.t, os.WriteFile(path, png, 0o644))
	b.size(1280, 900)
}

// lookAt keeps a picture of the page for a person when DESK_PICTURES names a folder.
func (b *tab) lookAt(name string) {
	b.t.Helper()
	dir := os.Getenv("DESK_PICTURES")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	require.NoError(b.t, err)
	require.NoError(b.t, os.WriteFile(filepath.Join(dir, name), png, 0o600))
}
