package plan

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// handWritten has comments of every kind, blank lines, flow and block, quotes, and letters of several bytes.
const handWritten = `# Fräulein Müller – not her name
format: 1   # the only one
case: "p\u00efne" # label

jaw: mandible
orientation_note: plain text – with
  a second line # wrapped
arch: {sd_mm: 0.1, # placed by hand
  points: [[-25, 20, 0], # right end
    [-20, 0, 0], [20, 0, 0],
    [25, 20, 0]]}
# all sites
sites:
  # the first
  - tooth: "36"   # lower left
    # where it is
    at: [22.50, 8, 1]
    confirmed:
    - place
    - axis # looked at

  # the second
  - {id: über, tooth: 46, "arc_mm": 13.5, implant: {diameter_mm: 4.0, length_mm: 10}} # short
structures:
- name: 'canal' # its name
  kind: canal
  path:
  - - 1
    - 2
    - 3
  - [4, 5, 6]   # deeper
  radius_mm: 1.5
declared: []
# the end
`

// Each edit changes the bytes named and no others: with each line end, as the text stands alone.
func TestEditsChangeTheirBytesAlone(t *testing.T) {
	p := r3.Vec{X: 1.00049, Y: -0.0001, Z: 0.1 + 0.2}
	const set, insert, remove = "set", "insert", "delete"
	for _, c := range []struct {
		do, path string
		value    any
		old, new string
	}{
		{set, "case", "oak", `"p\u00efne"`, "oak"},
		{set, "case", "a: b # c", `"p\u00efne"`, `"a: b # c"`},
		{set, "case", "36", `"p\u00efne"`, `"36"`},
		{set, "orientation_note", "short", "plain text – with\n  a second line", "short"},
		{set, "sites[0].at", p, "[22.50, 8, 1]", "[1, 0, 0.3]"},
		{set, "sites[0].at[1]", 0.1 + 0.2, "[22.50, 8, 1]", "[22.50, 0.3, 1]"},
		{set, "sites[0].axis", Direction{X: 0.1, Z: -0.9949874}, "    - axis # looked at\n", "    - axis # looked at\n    axis: [0.1, 0, -0.994987]\n"},
		{set, "arch.points[0]", p, "[-25, 20, 0]", "[1, 0, 0.3]"},
		{insert, "arch.points[4]", p, "[25, 20, 0]]", "[25, 20, 0], [1, 0, 0.3]]"},
		{insert, "arch.points[1]", p, "[-20, 0, 0]", "[1, 0, 0.3], [-20, 0, 0]"},
		{remove, "arch.points[0]", nil, "[-25, 20, 0], # right", " # right"},
		{remove, "arch.points[3]", nil, ",\n    [25, 20, 0]", ""},
		{set, "arch.points", []r3.Vec{p, {}}, "[[-25, 20, 0], # right end\n    [-20, 0, 0], [20, 0, 0],\n    [25, 20, 0]]", "[[1, 0, 0.3], [0, 0, 0]]"},
		{remove, "sites[0].tooth", nil, "tooth: \"36\"   #", "   #"},
		{remove, "sites[0].at", nil, "    at: [22.50, 8, 1]\n", ""},
		{remove, "sites[0].confirmed[1]", nil, "    - axis # looked at\n", ""},
		{insert, "sites[0].confirmed[0]", "order", "    - place\n", "    - order\n    - place\n"},
		{set, "sites[0].confirmed", List{}, "    - place\n    - axis", "      []"},
		{remove, "sites[1]", nil, "  - {id: über, tooth: 46, \"arc_mm\": 13.5, implant: {diameter_mm: 4.0, length_mm: 10}} # short\n", ""},
		{remove, "sites[1].arc_mm", nil, "\"arc_mm\": 13.5, ", ""},
		{remove, "sites[1].implant", nil, ", implant: {diameter_mm: 4.0, length_mm: 10}", ""},
		{set, "sites[1].implant", PlannedImplant{Platform: &p, Diameter: 3.5, Length: 8}, "{diameter_mm: 4.0, length_mm: 10}", "{platform: [1, 0, 0.3], diameter_mm: 3.5, length_mm: 8}"},
		{set, "sites[0].implant", PlannedImplant{Platform: &p, Diameter: 3.5, Length: 8}, "    - axis # looked at\n", "    - axis # looked at\n    implant:\n      platform: [1, 0, 0.3]\n      diameter_mm: 3.5\n      length_mm: 8\n"},
		{insert, "sites[2]", Site{Tooth: "35", ID: "35", At: &p}, "}} # short\n", "}} # short\n  - tooth: \"35\"\n    at: [1, 0, 0.3]\n"},
		{insert, "sites[0]", Site{Tooth: "35", ID: "35", At: &p}, "  # the first\n", "  - tooth: \"35\"\n    at: [1, 0, 0.3]\n  # the first\n"},
		{insert, "structures[0].path[0]", p, "  - - 1\n", "  - [1, 0, 0.3]\n  - - 1\n"},
		{insert, "structures[0].path[0][0]", 9.0, "  - - 1\n", "  - - 9\n    - 1\n"},
		{remove, "structures[0].path[1]", nil, "  - [4, 5, 6]   # deeper\n", ""},
		{remove, "structures[0].path[0][0]", nil, "- 1\n    - 2", "- 2"},
		{set, "structures[0].path", []r3.Vec{{X: 7}}, "  - - 1\n    - 2\n    - 3\n  - [4, 5, 6]", "  - [7, 0, 0]"},
		{set, "structures[0].traced", Map{{"confirmed", false}, {"confidence", 0.75}}, "  radius_mm: 1.5\n", "  radius_mm: 1.5\n  traced:\n    confirmed: false\n    confidence: 0.75\n"},
		{remove, "structures[0]", nil, "- name: 'canal' # its name\n  kind: canal\n  path:\n  - - 1\n    - 2\n    - 3\n  - [4, 5, 6]   # deeper\n  radius_mm: 1.5", "  []"},
		{insert, "declared[0]", Declared{Kind: "anterior_loop", Sides: []Side{Left}, Visible: true, By: "reader 1"}, "declared: []", "declared:\n  - kind: anterior_loop\n    side: left\n    as: absent\n    by: reader 1"},
		{set, "review.looked", []string{"36", "46"}, "declared: []\n", "declared: []\nreview:\n  looked: [\"36\", \"46\"]\n"},
		{insert, "readings[0]", Map{{"id", "r1"}, {"from", p}}, "declared: []\n", "declared: []\nreadings:\n  - id: r1\n    from: [1, 0, 0.3]\n"},
	} {
		for name, end := range map[string]string{"LF": "\n", "CRLF": "\r\n", "CR": "\r"} {
			t.Run(c.do+" "+c.path+" "+name, func(t *testing.T) {
				text := strings.ReplaceAll(handWritten, "\n", end)
				old, want := strings.ReplaceAll(c.old, "\n", end), strings.ReplaceAll(c.new, "\n", end)
				require.Equal(t, 1, strings.Count(text, old), "the case names its bytes")
				var got []byte
				var err error
				switch c.do {
				case set:
					got, err = Set([]byte(text), c.path, c.value)
				case insert:
					got, err = Insert([]byte(text), c.path, c.value)
				default:
					got, err = Delete([]byte(text), c.path)
				}
				require.NoError(t, err)
				assert.Equal(t, strings.Replace(text, old, want, 1), string(got))
			})
		}
	}
}

func TestWrittenIsTheValueAsItStands(t *testing.T) {
	for path, want := range map[string]string{
		"case": `"p\u00efne"`, "sites[0].at": "[22.50, 8, 1]", "sites[0].confirmed": "- place\n    - axis", "sites[1].arc_mm": "13.5",
		"orientation_note": "plain text – with\n  a second line", "structures[0].path[0]": "- 1\n    - 2\n    - 3", "sites[4].at": "",
	} {
		got, err := Written([]byte(handWritten), path)
		require.NoError(t, err)
		assert.Equal(t, want, string(got), path)
	}
	_, err := Written([]byte(handWritten), "case.of")
	assert.ErrorIs(t, err, ErrEdit)
}

func TestEditsOfJSONStayJSON(t *testing.T) {
	const text = "\xef\xbb\xbf{\n\t\"format\": 1,\n\t\"sites\": [{\"tooth\": \"36\", \"at\": [1, 2, 3]}]\n}\n"
	got, err := Insert([]byte(text), "sites[1]", Site{Tooth: "35", At: &r3.Vec{X: 1}, Axis: AxisOcclusal})
	require.NoError(t, err)
	assert.Equal(t, strings.Replace(text, "3]}]", `3]}, {"tooth": "35", "at": [1, 0, 0], "axis": "occlusal"}]`, 1), string(got))
	got, err = Set(got, "case", "a")
	require.NoError(t, err)
	assert.Contains(t, string(got), `"axis": "occlusal"}], "case": "a"`)
}

func TestEditsThatCannotBeMade(t *testing.T) {
	for path, do := range map[string]func([]byte, string) ([]byte, error){
		"":               func(b []byte, p string) ([]byte, error) { return Set(b, p, 1) },
		"sites[":         func(b []byte, p string) ([]byte, error) { return Set(b, p, 1) },
		"sites[01]":      func(b []byte, p string) ([]byte, error) { return Set(b, p, 1) },
		"sites.tooth":    func(b []byte, p string) ([]byte, error) { return Set(b, p, 1) },
		"sites[3]":       func(b []byte, p string) ([]byte, error) { return Insert(b, p, 1) },
		"readings[1]":    func(b []byte, p string) ([]byte, error) { return Insert(b, p, 1) },
		"case":           func(b []byte, p string) ([]byte, error) { return Insert(b, p, "again") },
		"case.of":        func(b []byte, p string) ([]byte, error) { return Set(b, p, 1) },
		"crest":          Delete,
		"arch.sd_mm":     func(b []byte, p string) ([]byte, error) { return Set(b, p, struct{}{}) },
		"arch.points[0]": func(b []byte, p string) ([]byte, error) { return Set(b, p, r3.Vec{X: math.Inf(1)}) },
		"jaw":            func(b []byte, p string) ([]byte, error) { return Set(b, p, "\xff") },
		"scan":           func(b []byte, p string) ([]byte, error) { return Set(b, p, Map{{"a b", 1}}) },
		"sites[0].at":    func(b []byte, p string) ([]byte, error) { return Set(b, p, nil) },
	} {
		text := []byte(handWritten)
		_, err := do(text, path)
		require.ErrorIs(t, err, ErrEdit, path)
		assert.Equal(t, handWritten, string(text))
	}
	_, err := Set([]byte("a: [1"), "a", 1)
	var faults Errors
	assert.ErrorAs(t, err, &faults)
}

// What is written of a site, a structure or a declaration reads as it: in a block, in brackets, in JSON.
func TestBlocksReadBackAsWhatTheyAre(t *testing.T) {
	full := strings.NewReplacer("path: [[-25, 20, -8], [-20, 0, -9]]", "path: [[-25, 20, -8], [-20, 0, -9]]\n    traced: {confirmed: false, confidence: 0.75}",
		"    arc_mm: 13.5\n", "    arc_mm: 13.5\n    axis: occlusal\n    level: {depth_mm: 2.5}\n    confirmed: [axis]\n    proposed: true\n"+
			"    sizes: {diameters_mm: [4], lengths_mm: [8], lateral_mm: [-2, 1], depth_mm: [0, 0.5], lean_deg: [-15, 20], along_deg: [-3, 3]}\n").
		Replace(goodPlan) + "declared: [{kind: sinus, side: both, as: not_visible, by: me}, {kind: anterior_loop, side: right, as: absent}]\n"
	want, _, err := Read("plan.yaml", []byte(full), nil)
	require.NoError(t, err)
	text := []byte(full)
	put := func(path string, v any) {
		t.Helper()
		for _, do := range []func([]byte, string, any) ([]byte, error){Set, Insert} {
			if text, err = do(text, path, v); err != nil {
				t.Fatal(err)
			}
		}
		text, err = Delete(text, path)
		require.NoError(t, err)
	}
	for i, s := range want.Sites {
		put(sitePath(i), s)
	}
	for i, s := range want.Structures {
		put(structurePath(i), s)
	}
	for i, d := range want.Declared {
		put(fmt.Sprintf("declared[%d]", i), d)
	}
	got, _, err := Read("plan.yaml", text, nil)
	require.NoError(t, err, "%s", text)
	got.SHA256 = want.SHA256
	for i := range got.Sites { // written with 6 decimals and made a unit vector again
		near6(t, want.Sites[i].AxisVec, &got.Sites[i].AxisVec)
		if im := got.Sites[i].Implant; im != nil {
			near6(t, *want.Sites[i].Implant.Axis, im.Axis)
		}
	}
	assert.Equal(t, want, got)
}

// near6 holds a direction to 6 decimals and makes it the one wanted.
func near6(t *testing.T, want r3.Vec, got *r3.Vec) {
	t.Helper()
	assert.InDelta(t, 0, r3.Norm(r3.Sub(want, *got)), 2e-6)
	*got = want
}

// Whatever text, path and value: an edit is refused, or all bytes outside the value's lines are the same, what is
// inserted and deleted again leaves the text as it was, and nothing panics.
func FuzzEdit(f *testing.F) {
	for _, text := range []string{handWritten, strings.ReplaceAll(handWritten, "\n", "\r\n"), goodPlan, levelPlan, voxelPlan, smallPlan, "a: [1, # x\n 2 # y\n]\n", "{\"a\": [], \"b\": {}}", "a:\n# none\nb:\n  c: |\n   x\n"} {
		for i := range 40 {
			f.Add([]byte(text), i, byte(i), 0.1*float64(i), "x: #")
		}
	}
	f.Fuzz(func(t *testing.T, text []byte, which int, kind byte, x float64, word string) {
		for _, err := range checkEdits(t, text, which, kind, x, word) {
			if err != nil && !errors.Is(err, ErrEdit) {
				t.Fatal(err)
			}
		}
	})
}

// Hand-written plans with comments and blank lines sprinkled in, of three line ends: no edit of theirs is refused.
func TestEditsOfSprinkledPlans(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lines := strings.Split(rapid.SampledFrom([]string{handWritten, goodPlan, levelPlan, voxelPlan, smallPlan}).Draw(t, "plan"), "\n")
		for i, line := range lines {
			if strings.HasPrefix(line, "orientation_note: plain") { // a text of two lines takes no comment in between
				continue
			}
			comment := strings.Repeat(" ", rapid.IntRange(0, 5).Draw(t, "indent")) + "# ö: [x, {y\"'"
			switch rapid.IntRange(0, 5).Draw(t, "what") {
			case 0:
				lines[i] = line + " " + comment
			case 1:
				lines[i] = line + "\n" + comment
			case 2:
				lines[i] = line + "\n"
			}
		}
		text := strings.ReplaceAll(strings.Join(lines, "\n"), "\n", rapid.SampledFrom([]string{"\n", "\r\n", "\r"}).Draw(t, "end"))
		for _, err := range checkEdits(t, []byte(text), rapid.IntRange(0, 1000).Draw(t, "path"), rapid.Byte().Draw(t, "value"), rapid.Float64Range(-1e4, 1e4).Draw(t, "x"), "a #b") {
			if err != nil {
				t.Fatal(err)
			}
		}
	})
}

// tester is a test or a draw of one.
type tester interface {
	Helper()
	Fatalf(format string, args ...any)
}

// checkEdits sets, deletes and inserts a value at one of the text's paths and returns why one of them was refused.
func checkEdits(t tester, text []byte, which int, kind byte, x float64, word string) (refused [3]error) {
	t.Helper()
	d, err := openText(text)
	if err != nil {
		return refused
	}
	paths := pathsOf(treeOf(d.root), "", nil)
	if len(paths) == 0 {
		return refused
	}
	path := paths[((which%len(paths))+len(paths))%len(paths)]
	value := []any{x, word, r3.Vec{X: x}, []r3.Vec{{X: x}, {Y: x}}, Map{{"a", x}, {"b", Map{{"c", word}}}}, List{Map{{"d", word}}}, true, List{}, Map{}}[int(kind)%9]
	before := bytes.Clone(text)
	steps, err := parsePath(path)
	if err != nil {
		return refused
	}
	at, err := d.find(steps)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	from, to := d.itemStart(at.up.node, at.index), d.itemEnd(at.up.node, at.index)
	var out []byte
	if out, refused[0] = Set(text, path, value); refused[0] == nil && (!bytes.HasPrefix(out, text[:from]) || !bytes.HasSuffix(out, text[d.lineEnd(to):])) {
		t.Fatalf("Set(%s) changed more than it in\n%q\ninto\n%q", path, text, out)
	}
	if out, refused[1] = Delete(text, path); refused[1] == nil {
		if lost := bytes.Count(text, []byte("#")) - bytes.Count(out, []byte("#")); lost > bytes.Count(text[from:d.lineEnd(to)], []byte("#")) {
			t.Fatalf("Delete(%s) lost a comment of\n%q\nin\n%q", path, text, out)
		}
	}
	if at.step.key != "" {
		path = strings.TrimSuffix(path, at.step.key) + "fresh_key"
	}
	if out, refused[2] = Insert(text, path, value); refused[2] == nil {
		if head, tail := same(text, out); head+tail < len(text) {
			t.Fatalf("Insert(%s) changed bytes %d to %d of\n%q\ninto\n%q", path, head, len(text)-tail, text, out)
		}
		if back, err := Delete(out, path); err != nil || !bytes.Equal(back, text) {
			t.Fatalf("Insert and Delete of %s:\n%q\nis\n%q\nby\n%q (%v)", path, text, back, out, err)
		}
	}
	if !bytes.Equal(before, text) {
		t.Fatalf("an edit changed the text that it was given")
	}
	return refused
}

// same returns how many bytes two texts have in common at their beginning, and of the rest at their end.
func same(a, b []byte) (head, tail int) {
	for head < min(len(a), len(b)) && a[head] == b[head] {
		head++
	}
	for tail < min(len(a), len(b))-head && a[len(a)-1-tail] == b[len(b)-1-tail] {
		tail++
	}
	return head, tail
}

// pathsOf returns every path of a tree.
func pathsOf(tree any, path string, all []string) []string {
	if path != "" {
		all = append(all, path)
	}
	switch tree := tree.(type) {
	case Map:
		for _, e := range tree {
			if keyWord.MatchString(e.Key) {
				all = pathsOf(e.Value, strings.TrimPrefix(path+"."+e.Key, "."), all)
			}
		}
	case List:
		for i, v := range tree {
			if path != "" {
				all = pathsOf(v, fmt.Sprintf("%s[%d]", path, i), all)
			}
		}
	}
	return all
}
