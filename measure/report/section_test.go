package report

import (
	"bytes"
	"encoding/binary"
	"encoding/xml"
	"image/png"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/reformat"
)

func sampleSheet(site int) *sheet {
	r, p := sampleResult(), samplePicture()
	return sectionSheet(r, said(r, &r.Sites[site]), &p, windowOf([]Picture{p}), wholeWidth)
}

// The name of a planned tooth stands on the axis that runs through it, not under it.
func TestNameOfAPlannedToothIsNotStruckThrough(t *testing.T) {
	r, p := sampleResult(), samplePicture()
	s := &r.Sites[3]
	require.NotNil(t, s.Implant)
	at, _ := s.Frame.Section(s.Implant.Platform)
	var tooth []reformat.UV
	for k := range 37 {
		sin, cos := math.Sincos(float64(k) * math.Pi / 18)
		tooth = append(tooth, reformat.UV{U: at.U + 2*cos, V: at.V + 4 + 2*sin})
	}
	s.Restoration = [][]reformat.UV{tooth}
	var drawn collector
	sectionSheet(r, said(r, s), &p, windowOf([]Picture{p}), wholeWidth).draw(&drawn)
	k := slices.IndexFunc(drawn.labels, func(l label) bool { return l.Text == "planned tooth" })
	require.True(t, strikes(drawn.labels[k], drawn.lines[:drawn.under[k]]), "the axis runs there")
	require.False(t, strikes(drawn.labels[k], drawn.lines[drawn.under[k]:]))
}

func TestSectionPNGCarriesItsPhysicalSize(t *testing.T) {
	var out bytes.Buffer
	s := sampleSheet(3)
	require.NoError(t, s.PNG(&out, 8))
	lookAt(t, "section.png", out.Bytes())
	at := bytes.Index(out.Bytes(), []byte("pHYs"))
	require.Equal(t, 37, at, "pHYs stands right behind IHDR")
	// 8 pixels a mm of paper at 2.5 mm of paper a mm in the patient: 20 000 pixels a metre.
	require.Equal(t, uint32(20000), binary.BigEndian.Uint32(out.Bytes()[at+4:]))
	require.Equal(t, byte(1), out.Bytes()[at+12], "unit: metre")
	img, err := png.Decode(&out)
	require.NoError(t, err)
	require.Equal(t, int(math.Round(s.Width*8)), img.Bounds().Dx())
}

func TestSectionSaysWhatItMust(t *testing.T) {
	for site, wanted := range map[int][]string{
		0: {"not measured", "47"},
		1: {"46", "lingual", "buccal", "coronal", "apical"},
		3: {"height, mm", "to the canal", "clearance to left canal", "side of the patient: left", "bone&#39;s outline", "marked structure", "virtual implant", syntheticCaution, "scale 2.5 : 1", "grey values", "left canal", "3.93 ± ", "Not a diagnosis", "10 mm", "section at"},
	} {
		text, err := sampleSheet(site).SVG()
		require.NoError(t, err)
		for _, w := range wanted {
			require.Contains(t, text, w)
		}
	}
}

// In the upper jaw the crest points to the feet: the picture keeps the patient's head up.
func TestUpperJawIsDrawnHeadUp(t *testing.T) {
	r, p := sampleResult(), samplePicture()
	r.Jaw = measure.Maxilla
	s := &r.Sites[3]
	s.Frame.V = r3.Vec{Z: -1}
	v := &sectionView{site: s, result: r, picture: &p, flip: s.Frame.V.Z < 0}
	v.sheet, v.box = &sheet{Scale: 2}, v.shown()
	crest, base := v.spot(s.Crest), v.spot(reformat.UV{V: -15})
	require.Greater(t, crest.Y, base.Y)
	text, err := sectionSheet(r, said(r, s), &p, window{0, 1000}, wholeWidth).SVG()
	require.NoError(t, err)
	require.Contains(t, text, "palatal")
	place := func(word string) float64 {
		m := regexp.MustCompile(`y="([0-9.]+)"[^>]*>` + word + `<`).FindStringSubmatch(text)
		require.NotNil(t, m, word)
		y, err := strconv.ParseFloat(m[1], 64)
		require.NoError(t, err)
		return y
	}
	require.Greater(t, place("coronal"), place("apical"), "the crest is below")
	require.NotContains(t, text, ">lingual<")
	lower := v.window.grey(p, true)
	upper := v.window.grey(p, false)
	require.Equal(t, upper.GrayAt(40, 0), lower.GrayAt(40, p.Height-1))
}

// A tube of radius r that meets the plane at angle θ cuts it in an ellipse with half-axes r and
// r/sin θ. Closed form.
func TestTubeCrossesAsAnEllipse(t *testing.T) {
	f := reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}}
	sin := math.Sin(math.Pi / 6)
	far := r3.Vec{X: 40 * math.Cos(math.Pi/6), Y: 40 * sin}
	s := measure.Structure{Path: []r3.Vec{r3.Scale(-1, far), far}, Radii: []float64{1.5, 1.5}}
	lines := crossing(s, f, [2]reformat.UV{{U: -20, V: -20}, {U: 20, V: 20}})
	require.Len(t, lines, 1, "one closed line")
	wide, high := 0.0, 0.0
	for _, p := range lines[0] {
		wide, high = math.Max(wide, p.U), math.Max(high, p.V)
		on := p.U*p.U/(9) + p.V*p.V/(1.5*1.5)
		require.InDelta(t, 1, on, 0.02)
	}
	// A chord's sagitta on the drawing grid: step²/(8·r) < 0.004 mm; at the ends of the ellipse the
	// radius of curvature is b²/a = 0.75 mm.
	require.InDelta(t, 1.5/sin, wide, 0.02)
	require.InDelta(t, 1.5, high, 0.01)
}

// A diamond that reaches past a square is cut into four pieces, each with its ends on the square.
func TestLinesStayOnThePicture(t *testing.T) {
	diamond := []spot{{-3, 0}, {0, -3}, {3, 0}, {0, 3}, {-3, 0}}
	pieces := clip(diamond, spot{-2, -2}, spot{2, 2})
	require.Len(t, pieces, 4)
	for _, p := range pieces {
		require.Len(t, p, 2)
		// The sides are |x| + |y| = 3; they meet the square at (±2, ±1) and (±1, ±2).
		require.InDelta(t, math.Sqrt2, apart(p[0], p[1]), 1e-12)
	}
	whole := []spot{{0, 0}, {1, 1}, {1, -1}}
	require.Equal(t, [][]spot{whole}, clip(whole, spot{-2, -2}, spot{2, 2}))
	require.Empty(t, clip([]spot{{5, 5}, {6, 9}}, spot{-2, -2}, spot{2, 2}))
}

// Half-way between radii 1 and 2 a chain has radius 1.5.
func TestRadiusChangesAlongTheChain(t *testing.T) {
	f := reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}}
	s := measure.Structure{Path: []r3.Vec{{Y: -10}, {Y: 10}}, Radii: []float64{1, 2}}
	lines := crossing(s, f, [2]reformat.UV{{U: -9, V: -9}, {U: 9, V: 9}})
	require.Len(t, lines, 1)
	require.InDelta(t, 1.5, maxU(lines[0]), 0.01)
}

func TestSphereBesideThePlaneDoesNotCross(t *testing.T) {
	f := reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}}
	s := measure.Structure{Path: []r3.Vec{{Y: 2}}, Radii: []float64{1.9}}
	require.Empty(t, crossing(s, f, [2]reformat.UV{{U: -20, V: -20}, {U: 20, V: 20}}))
}

// A unit cube cut half-way leaves a square, in one line of four corners and the way back.
func TestSurfaceIsCutAlongItsTriangles(t *testing.T) {
	f := reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}}
	tetra := &measure.Surface{
		Points:    []r3.Vec{{Y: -1}, {X: 2, Y: 1}, {X: -1, Y: 1, Z: 2}, {X: -1, Y: 1, Z: -2}},
		Triangles: [][3]int{{0, 1, 2}, {0, 2, 3}, {0, 3, 1}, {1, 3, 2}},
	}
	lines := crossing(measure.Structure{Surface: tetra}, f, [2]reformat.UV{{U: -9, V: -9}, {U: 9, V: 9}})
	require.Len(t, lines, 1)
	require.Len(t, lines[0], 4, "a triangle and the way back")
	// Half-way from apex to base every length is halved.
	require.InDelta(t, 1, maxU(lines[0]), 1e-12)
}

func maxU(line []reformat.UV) float64 {
	m := math.Inf(-1)
	for _, p := range line {
		m = math.Max(m, p.U)
	}
	return m
}

func TestHostileNamesStayInsideTheSVG(t *testing.T) {
	r, p := sampleResult(), samplePicture()
	r.Case = `"><script>alert(1)</script>`
	r.Structures[0].Name = "</text><image href='http://example.org/x'/>\x00\x1b"
	r.Sites[3].ID = "<a>&\u202e"
	text, err := sectionSheet(r, said(r, &r.Sites[3]), &p, window{0, 1}, wholeWidth).SVG()
	require.NoError(t, err)
	dec := xml.NewDecoder(strings.NewReader(text))
	for {
		token, err := dec.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		if el, is := token.(xml.StartElement); is {
			require.Contains(t, []string{"svg", "title", "desc", "path", "text", "image"}, el.Name.Local)
			for _, a := range el.Attr {
				require.False(t, a.Name.Local == "href" && !strings.HasPrefix(a.Value, "data:"))
			}
		}
	}
}

// On a ridge that leans by 25° a depth of the axis is read at the same height on the ruler and in the margin.
func TestDepthsAndRulerAgree(t *testing.T) {
	c := sampleCase()
	s := &c.Result.Sites[3]
	sin, cos := math.Sincos(25 * math.Pi / 180)
	s.Crest, s.Axis, s.Chords = reformat.UV{U: -4, V: 6}, reformat.UV{U: sin, V: -cos}, nil
	for _, d := range []float64{0, 5, 10} {
		on := along(s.Crest, s.Axis, d)
		across := reformat.UV{U: cos, V: sin}
		s.Chords = append(s.Chords, measure.Chord{Depth: d, Buccal: along(on, across, 3), Lingual: along(on, across, -3)})
	}
	sheet := sectionSheet(c.Result, said(c.Result, s), c.section(s.ID), window{0, 1000}, wholeWidth)
	var pen collector
	sheet.draw(&pen)
	ruler, margin := map[string]float64{}, map[string]float64{}
	for _, l := range pen.labels {
		switch {
		case l.At.X == sectionLeft-3 && l.Anchor == end:
			ruler[l.Text] = l.At.Y - 0.8
		case l.At.X == sheet.Width-sectionRight+noteIndent && l.Size == small && l.Ink == soft:
			margin[l.Text] = l.At.Y - 0.9
		}
	}
	for _, depth := range []string{"0", "5", "10"} {
		require.InDelta(t, ruler[depth], margin[depth], 1e-9, "depth %s", depth)
	}
	require.InDelta(t, 5*cos*sheet.Scale, ruler["5"]-ruler["0"], 1e-9, "the axis leans: its levels stand nearer")
}

// No letter of a section lies over another or off the sheet, with names of 16 characters too.
func TestSectionTextsStandApart(t *testing.T) {
	c := fullCase()
	for i := range c.Result.Sites {
		s := &c.Result.Sites[i]
		s.ID = "WWWWWWWW 1234567"
		for _, room := range []spot{wholeWidth, halfWidth} {
			sheet := sectionSheet(c.Result, said(c.Result, s), c.section(s.ID), window{0, 1000}, room)
			var pen collector
			sheet.draw(&pen)
			for n, a := range pen.labels {
				box := boxOf(a)
				require.True(t, box.low.X >= -0.3 && box.high.X <= sheet.Width+0.5 && box.low.Y >= 0 && box.high.Y <= sheet.Height, "%q is cut: %v", a.Text, box)
				for _, b := range pen.labels[:n] {
					require.False(t, a.Halo == b.Halo && box.overlaps(boxOf(b)), "site %d: %q and %q collide", i, a.Text, b.Text)
				}
			}
		}
	}
}
