package plan

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Edits where a text is written oddly: each changes its bytes alone.
func TestEditsOfOddTexts(t *testing.T) {
	deep := Map{{"b", Map{{"c", 1}}}}
	for _, c := range []struct {
		name, text, do, path string
		value                any
		want                 string
	}{
		{"the last line has no end", "a: 1\nb: 2", "delete", "b", nil, "a: 1"},
		{"the last of three has none", "a: [1]\nb: 2\nc: 3", "delete", "c", nil, "a: [1]\nb: 2"},
		{"a dash alone on its line", "a:\n-\n- 1\n", "delete", "a[0]", nil, "a:\n- 1\n"},
		{"a comma behind a comment", "a: [1 # x\n  , 2]\n", "delete", "a[0]", nil, "a: [ # x\n   2]\n"},
		{"a comma before a comment", "a: [1, # x\n  2]\n", "delete", "a[1]", nil, "a: [1 # x\n  ]\n"},
		{"null as a word", "a: null\nb: 1\n", "set", "a", 1, "a: 1\nb: 1\n"},
		{"null as nothing", "a:\nb: 1\n", "set", "a", 1, "a: 1\nb: 1\n"},
		{"line ends of two kinds", "a: 1\r\nb: 2\n", "insert", "c", 3, "a: 1\r\nb: 2\r\nc: 3\n"},
		{"an empty list in brackets", "x: {\n  a: []\n}\n", "insert", "x.a[0]", deep, "x: {\n  a: [{b: {c: 1}}]\n}\n"},
		{"a mapping for a list under its key", "s:\n- a: 1\n- a: 2\n", "set", "s", Map{{"k", deep}, {"l", 2}}, "s:\n  k:\n    b:\n      c: 1\n  l: 2\n"},
		{"a list element set past the last", "s:\n- 1\n- 2\n", "set", "s[2]", 3, "s:\n- 1\n- 2\n- 3\n"},
		{"in brackets past the last", "s: [1, 2]\n", "set", "s[2]", 3, "s: [1, 2, 3]\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var got []byte
			var err error
			switch c.do {
			case "set":
				got, err = Set([]byte(c.text), c.path, c.value)
			case "insert":
				got, err = Insert([]byte(c.text), c.path, c.value)
			default:
				got, err = Delete([]byte(c.text), c.path)
			}
			require.NoError(t, err)
			assert.Equal(t, c.want, string(got))
		})
	}
	got, err := Written([]byte("a: null\n"), "a")
	require.NoError(t, err)
	assert.Equal(t, "null", string(got))
	got, err = Written([]byte("a:\nb: 1\n"), "a")
	require.NoError(t, err)
	assert.Empty(t, got)
}

// What cannot be edited names its path; a path may have twelve steps.
func TestEditsNameTheirPath(t *testing.T) {
	text := []byte("a: {b: [1, {c: 2}]}\nd: 1\n")
	for path, want := range map[string]string{
		"a.b[1].c": "a.b[1].c is there already", "a.b[4]": "a.b[4]: the list has 2 elements", "d.x": "d is neither a mapping nor a list", "a.b.c": "a.b is a list, not a mapping", "a[0]": "a is a mapping, not a list",
		"a.z[1]":                    "a.z[1]: the list has no elements yet",
		"a.a.a.a.a.a.a.a.a.a.a.a.a": "is deeper than any plan",
	} {
		_, err := Insert(text, path, 1)
		require.ErrorIs(t, err, ErrEdit, path)
		assert.ErrorContains(t, err, want)
	}
	_, err := Delete(text, "a.q")
	assert.ErrorContains(t, err, "a.q is not there")
	_, err = Insert(text, "e.a.a.a.a.a.a.a.a.a.a.a", 1)
	assert.NoError(t, err)
}

// Faults of different kinds come at once, of a short arch too; what is twice names the first, what has no name of its own does not.
func TestFaultsOfPlaceComeWithTheOthers(t *testing.T) {
	got := faultOf("format: 1\ncase: a\njaw: maxilla\narch: {points: [[-25, 20, 0], [-20, 0, 0], [20, 0, 0], [25, 20, 0]]}\nsites: [{tooth: 16, arc_mm: 500}, {tooth: 26, arc_mm: 5, wanted_width_mm: -1}]\n", nil)
	assert.Contains(t, got, `site "16": station 500 mm is past the end of the arch`)
	assert.Contains(t, got, "wanted_width_mm is -1 mm")
	sites := func(text string) string {
		return faultOf("format: 1\ncase: a\njaw: maxilla\narch: {points: [[-25, 20, 0], [-20, 0, 0], [20, 0, 0], [25, 20, 0]]}\nsites: ["+text+"]\n", nil)
	}
	assert.Contains(t, sites("{tooth: 16, arc_mm: 5}, {tooth: 16, arc_mm: 6}"), "the site at line 5 has this id too; give each site an id of its own")
	assert.Contains(t, sites("{tooth: 16, id: a, arc_mm: 5}, {tooth: 16, id: A, arc_mm: 6}"), "has this id too", "some systems' file names know no case")
	got = sites("{arc_mm: 5}, {arc_mm: 6}")
	assert.Contains(t, got, "site 1: tooth is missing")
	assert.Contains(t, got, "site 2: tooth is missing")
	assert.NotContains(t, got, "has this id too")
}
