package desk

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
	"ridgerule/measure/phantom"
	"ridgerule/measure/solid"
)

// withTeeth is a plan with the planned teeth of the jaw: two that stand and one that is planned, aligned as they are, accepted by nobody; the alignment names
// the series.
func withTeeth(t testing.TB, series string) (path string, f align.File) {
	t.Helper()
	j, err := drawn()
	require.NoError(t, err)
	var all []phantom.Mesh
	for _, tooth := range []int{33, 43, 36} {
		m, err := j.Crown(tooth, true)
		require.NoError(t, err)
		all = append(all, m)
	}
	m := phantom.Join(all...)
	sheet, err := solid.NewSheet(m.Points, m.Triangles)
	require.NoError(t, err)
	path = planAt(t, wholePlan+"restoration: {surface: setup.stl, align: setup.json}\n")
	var stl, file bytes.Buffer
	require.NoError(t, solid.WriteSheet(&stl, sheet, "set-up"))
	f = align.File{Program: "test", Kind: align.KindSurface, First: align.Subject{File: "setup.stl"}, Second: align.Subject{Series: series}, Transform: align.Identity("patient"),
		Fit: []align.Fact{{Name: "residual", Value: "0.05 mm"}}, Landmarks: []align.Landmark{align.NewLandmark("cusp of 33", r3.Vec{X: 1}, r3.Vec{X: 1.25}, align.Identity("patient"))}, Cautions: []string{}}
	for i := range 3 {
		f.Transform.Spread.Cov[3+i][3+i] = 0.04 * 0.04 / 3
	}
	require.NoError(t, f.Write(&file))
	for name, data := range map[string][]byte{"setup.stl": stl.Bytes(), "setup.json": file.Bytes()} {
		require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(path), name), data, 0o600))
	}
	return path, f
}

// What the page writes when somebody accepts is byte for byte what the command would write at that moment; it is refused without a name, after the
// file was changed, and for another scan, and then nothing is written.
func TestAcceptanceOnThePageIsTheCommands(t *testing.T) {
	series := jawScan(t).Facts.SeriesHash
	path, f := withTeeth(t, series)
	d, _ := opened(t, path, Options{Now: func() time.Time { return noon }})
	secret := d.secrets.enter("Bearer " + d.secrets.invite())
	file := filepath.Join(filepath.Dir(path), "setup.json")
	before, err := os.ReadFile(file)
	require.NoError(t, err)
	for _, c := range []struct{ by, tag, words string }{{" ", hashOf(before), "say who has looked"}, {"reviewer 1", hashOf([]byte("x")), "changed since it was shown"}} {
		status, answer := post(t, d, secret, "alignment", "", map[string]string{"by": c.by, "tag": c.tag})
		require.Equal(t, 422, status)
		require.Contains(t, answer, c.words)
		after, err := os.ReadFile(file)
		require.NoError(t, err)
		require.Equal(t, before, after)
	}
	status, answer := post(t, d, secret, "alignment", "", map[string]string{"by": "reviewer 1", "tag": hashOf(before)})
	require.Equal(t, 200, status, answer)
	var told alignmentView
	require.NoError(t, json.Unmarshal([]byte(answer), &told))
	require.Equal(t, "reviewer 1", told.By)
	require.Len(t, told.Boards, 12)
	require.Len(t, told.Places, 6)
	require.InDelta(t, 0.04, *told.Places[0].U, 1e-9)
	require.InDelta(t, 0.25, told.Landmarks[0].Apart, 1e-9)
	f.Format = 1
	want, err := f.Accept("reviewer 1", noon)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, want.Write(&out))
	after, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, out.String(), string(after))
	now, _ := d.session.current()
	require.NotNil(t, now.plan.Restoration.Align.Accepted, "what is measured from now on knows it")

	other, _ := withTeeth(t, strings.Repeat("f", 64))
	e, _ := opened(t, other, Options{})
	data, err := os.ReadFile(filepath.Join(filepath.Dir(other), "setup.json"))
	require.NoError(t, err)
	status, answer = post(t, e, e.secrets.enter("Bearer "+e.secrets.invite()), "alignment", "", map[string]string{"by": "reviewer 1", "tag": hashOf(data)})
	require.Equal(t, 422, status)
	require.Contains(t, answer, "another scan than the one that is open")
	same, err := os.ReadFile(filepath.Join(filepath.Dir(other), "setup.json"))
	require.NoError(t, err)
	require.Equal(t, data, same)
}

// On the page: the step is there with planned teeth and not without; six places twice, the landmark's distance; accepted by name it says so, breaks no rule of accessibility
// and asks for nothing outside.
func TestPlannedTeethAreAcceptedOnThePage(t *testing.T) {
	path, _ := withTeeth(t, "")
	d, _ := opened(t, path, Options{})
	b := newTab(t, d.Address())
	b.until(`document.querySelector("[data-step=teeth] .sum").textContent.includes("accepted by nobody")`)
	says[bool](b, `(document.querySelector("#step-teeth button").click(), true)`)
	b.ready("board")
	require.Equal(t, 12, says[int](b, `document.querySelectorAll(".step.open [data-pane=board]").length`))
	require.Greater(t, says[int](b, `document.querySelectorAll(".step.open [data-pane=board] path.line").length`), 6)
	require.Contains(t, says[string](b, `document.querySelector(".step.open").innerText`), "0.25 mm")
	b.lookAt("alignment.png")
	says[bool](b, axe(t)+"; true")
	require.Empty(t, says[[]string](b, `axe.run({ runOnly: ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"] }).then((r) => r.violations.map((v) => v.id + ": " + v.nodes[0].html))`))
	b.fill("Name of who has looked", "reviewer 1")
	b.click("Accept by this name")
	b.until(`document.querySelector("[data-step=teeth] .sum").textContent.startsWith("setup.json accepted by reviewer 1")`)
	require.Empty(t, b.complaints())
	data, err := os.ReadFile(filepath.Join(filepath.Dir(path), "setup.json"))
	require.NoError(t, err)
	f, err := align.ReadFile(bytes.NewReader(data))
	require.NoError(t, err)
	require.Equal(t, "reviewer 1", f.Accepted.By)

	e, _ := opened(t, planAt(t, wholePlan), Options{})
	b = newTab(t, e.Address())
	require.True(t, says[bool](b, `document.querySelector("[data-step=teeth]").offsetParent === null`))
}
