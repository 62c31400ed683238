package report

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

const chromium = "/usr/bin/chromium"

// browse opens the page in Chromium and returns its context and what it asked for or complained
// about.
func browse(t *testing.T, page []byte) (context.Context, func() []string) {
	t.Helper()
	if _, err := os.Stat(chromium); err != nil {
		t.Skip("chromium is not installed")
	}
	path := filepath.Join(t.TempDir(), "report.html")
	require.NoError(t, os.WriteFile(path, page, 0o600))
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium))...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx))

	var mu sync.Mutex
	var seen []string
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		mu.Lock()
		defer mu.Unlock()
		switch e := ev.(type) {
		case *network.EventRequestWillBeSent:
			if u := e.Request.URL; !strings.HasPrefix(u, "data:") && !strings.HasSuffix(u, "/report.html") {
				seen = append(seen, "request: "+u)
			}
		case *log.EventEntryAdded:
			seen = append(seen, "log: "+e.Entry.Text)
		}
	}))
	_, err := chromedp.Call(ctx, network.Enable, network.EnableParams{})
	require.NoError(t, err)
	_, err = chromedp.Call(ctx, log.Enable, struct{}{})
	require.NoError(t, err)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("file://"+path)))
	return ctx, func() []string {
		mu.Lock()
		defer mu.Unlock()
		return append([]string{}, seen...)
	}
}

func TestPageInChromium(t *testing.T) {
	ctx, complaints := browse(t, pageBytes(t, sampleCase()))
	require.Empty(t, complaints(), "no request, no blocked style, no error")

	for _, width := range []int64{320, 1280} {
		require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 900)))
		over, err := chromedp.Run(ctx, chromedp.Evaluate[float64]("document.documentElement.scrollWidth - document.documentElement.clientWidth"))
		require.NoError(t, err)
		require.LessOrEqualf(t, over, 0.0, "page is wider than %d px", width)
	}
	// The letters of the page are its own: the policy let them in.
	letters, err := chromedp.Run(ctx, chromedp.Evaluate[string]("[...document.fonts].map(f => f.status).join()"))
	require.NoError(t, err)
	require.Equal(t, "loaded,loaded,loaded", letters)

	header, err := chromedp.Run(ctx, chromedp.Evaluate[bool](
		`[...document.querySelectorAll("table")].every(t => t.caption && t.querySelector("thead th[scope=col]") && t.querySelector("tbody th[scope=row]"))`))
	require.NoError(t, err)
	require.True(t, header, "every table has a caption and scoped headers")
	require.Empty(t, complaints())
	prints(t, ctx, len(sampleCase().Result.Sites))
}

// On a phone every verdict is on the screen before anything is scrolled sideways, and before the number it is about.
func TestVerdictsComeFirstOnAPhone(t *testing.T) {
	ctx, _ := browse(t, pageBytes(t, manySites()))
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(390, 844)))
	hidden, err := chromedp.Run(ctx, chromedp.Evaluate[string](
		`[...document.querySelectorAll("td .verdict")].filter(v => v.getBoundingClientRect().right > innerWidth).map(v => v.closest("tr").textContent).join("|")`))
	require.NoError(t, err)
	require.Empty(t, hidden)
	late, err := chromedp.Run(ctx, chromedp.Evaluate[string](
		`[...document.querySelectorAll("td.number")].filter(n => n.closest("tr").querySelector(".verdict")).filter(n => n.compareDocumentPosition(n.closest("tr").querySelector(".verdict")) & Node.DOCUMENT_POSITION_FOLLOWING).map(n => n.textContent).join("|")`))
	require.NoError(t, err)
	require.Empty(t, late)
}

// prints holds that the page prints on both papers: the front page, a page or two a site, the
// arch, the basis.
func prints(t *testing.T, ctx context.Context, sites int) {
	for name, size := range map[string][2]float64{"A4": {8.27, 11.69}, "Letter": {8.5, 11}} {
		pdf, err := chromedp.Call(ctx, cdppage.PrintToPDF, cdppage.PrintToPDFParams{PaperWidth: size[0], PaperHeight: size[1], PreferCSSPageSize: new(true), PrintBackground: new(false)})
		require.NoError(t, err)
		lookAt(t, name+".pdf", pdf.Data)
		pages := len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf.Data, -1))
		require.GreaterOrEqual(t, pages, 1+sites+2, name)
		require.LessOrEqual(t, pages, 1+2*sites+2, name)
	}
}

// Source: WCAG 2.2, relative luminance and success criterion 1.4.3 (4.5 : 1) for text.
func TestInksHaveContrast(t *testing.T) {
	for _, c := range []ink{black, soft, petrol} {
		for _, ground := range []ink{paper, "#f3f5f6"} {
			require.GreaterOrEqualf(t, contrast(c, ground), 4.5, "%s on %s", c, ground)
		}
	}
	require.InDelta(t, 21, contrast("#000000", "#ffffff"), 1e-9)
	for _, m := range regexp.MustCompile(`#[0-9a-f]{6}`).FindAllString(pageStyle, -1) {
		require.Contains(t, []string{string(black), string(soft), string(hair), string(petrol), "#f3f5f6"}, m, "an ink without a contrast test")
	}
}

func contrast(a, b ink) float64 {
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

func luminance(c ink) float64 {
	part := func(i int) float64 {
		n, err := strconv.ParseUint(string(c)[i:i+2], 16, 8)
		if err != nil {
			panic(err)
		}
		s := float64(n) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*part(1) + 0.7152*part(3) + 0.0722*part(5)
}
