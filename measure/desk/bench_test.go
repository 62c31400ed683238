package desk

import (
	"context"
	"fmt"
	"net/http/httptest"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
)

// Speed is compared as a ratio between commits; what issue-sized figures are wanted is said beside each benchmark. On two idle
// cores: page ready ≤ 1 s after a 512³ series is read, ≥ 30 sections a second at 300 px, a site ≤ 200 ms after the hand rests,
// memory ≤ the volume and 150 MB.

// large is a volume of 512³ voxels of 0.2 mm without anything in it.
func large() *volume.Volume {
	const n = 512
	v := &volume.Volume{Grid: volume.Grid{Size: [3]int{n, n, n}, Origin: r3.Vec{X: -51, Y: -51, Z: -51}, Step: [3]r3.Vec{{X: 0.2}, {Y: 0.2}, {Z: 0.2}}},
		Stored: make([]int16, n*n*n), Rescale: []volume.Rescale{{Slope: 1}}}
	for i := range v.Stored {
		v.Stored[i] = int16(i * 2654435761 >> 20)
	}
	return v
}

// fetched answers a call of the page and returns how many bytes it had.
func fetched(b *testing.B, d *Desk, secret, path string) int {
	r := httptest.NewRequest("GET", "http://127.0.0.1:"+d.port()+path, nil)
	r.Header.Set("Authorization", "Bearer "+secret)
	w := httptest.NewRecorder()
	d.handler.ServeHTTP(w, r)
	require.Equal(b, 200, w.Code, path)
	return w.Body.Len()
}

// From the volume to everything that the first step shows. mem-MB is what the desk holds beside the volume.
func BenchmarkPageReady(b *testing.B) {
	scan := Scan{Volume: large(), Facts: measure.Scan{SeriesHash: strings.Repeat("ab", 32), Verdict: "fit"}}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for b.Loop() {
		d, err := Open(scan, filepath.Join(b.TempDir(), "pine.yaml"), Options{})
		require.NoError(b, err)
		secret := d.secrets.enter("Bearer " + d.secrets.invite())
		for _, path := range []string{"/", "/main.js", "/page.css", "/api/state", "/api/axial?step=0.5", "/api/across?step=0.5", "/api/across?step=0.5&from=side"} {
			fetched(b, d, secret, path)
		}
		runtime.ReadMemStats(&after)
		ended, end := context.WithCancel(context.Background())
		end()
		require.NoError(b, d.Serve(ended))
	}
	b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/1e6, "mem-MB")
}

// A section of 300 × 300 pixels under the hand.
func BenchmarkSection300(b *testing.B) {
	d, err := Open(Scan{Volume: large(), Facts: measure.Scan{Verdict: "fit"}}, planAt(b, wholePlan), Options{ReadOnly: true})
	require.NoError(b, err)
	secret := d.secrets.enter("Bearer " + d.secrets.invite())
	began, n := time.Now(), 0
	for b.Loop() {
		fetched(b, d, secret, fmt.Sprintf("/api/section?arc=%g&half=15&step=0.1", 20+float64(n%50)))
		n++
	}
	b.ReportMetric(float64(n)/time.Since(began).Seconds(), "sections/s")
}

// A site moved in a plan of four, two of them with implants: what is measured when the hand rests.
func BenchmarkSiteMeasured(b *testing.B) {
	text := strings.Replace(wholePlan, "sites:\n", "sites:\n  - {tooth: \"44\", at: [-15.2, -21.8, 0]}\n  - {tooth: \"34\", at: [15.2, -21.8, 0], implant: {diameter_mm: 4, length_mm: 8}}\n", 1)
	v, err := jaw()
	require.NoError(b, err)
	s, err := openSession(Scan{Volume: v, Facts: measure.Scan{Verdict: "fit"}}, planAt(b, text), false, time.Now)
	require.NoError(b, err)
	defer s.close()
	_, err = s.numbers(context.Background(), s.draft)
	require.NoError(b, err)
	n := 0
	for b.Loop() {
		b.StopTimer()
		require.NoError(b, s.do("moved", s.draft.tag, []edit{{"set", "sites[3].at", []byte(fmt.Sprintf("[24.3, %.3f, 0]", 0.31+0.01*float64(n%100)))}}))
		n++
		b.StartTimer()
		got, err := s.numbers(context.Background(), s.draft)
		require.NoError(b, err)
		require.Empty(b, got.Why)
	}
}

// underTheHand moves the slider along the arch as soon as the last picture stands, and returns how many pictures a second that gives.
const underTheHand = `(async () => {
	const slider = [...document.querySelectorAll(".step.open input[type=range]")].find((e) => e.labels[0].textContent.startsWith("Along the arch")), put = CanvasRenderingContext2D.prototype.putImageData;
	let stands = null;
	CanvasRenderingContext2D.prototype.putImageData = function (...a) { put.apply(this, a); stands?.(); };
	const began = performance.now(), n = 60;
	for (let i = 0; i < n; i++) {
		const shown = new Promise((r) => { stands = r; });
		slider.value = String(20 + i);
		slider.dispatchEvent(new Event("input", { bubbles: true }));
		await shown;
	}
	CanvasRenderingContext2D.prototype.putImageData = put;
	return n / (performance.now() - began) * 1000;
})()`

// Sections of 32 mm under a hand that moves, from the hand to the pixels in Chromium: coarse ones, as they are shown meanwhile.
func BenchmarkSectionUnderTheHand(b *testing.B) {
	d, _ := opened(b, planAt(b, wholePlan), Options{})
	page := newTab(b, d.Address())
	page.until(`document.querySelector("[data-step=clear].open")`)
	page.ready("section")
	best := 0.0
	for b.Loop() {
		best = max(best, says[float64](page, underTheHand))
	}
	b.ReportMetric(best, "pictures/s")
}
