package study

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestManifestReadsTheSameFromCSVAndYAML(t *testing.T) {
	dir := filepath.FromSlash("/data/study")
	want := &Manifest{Further: []string{"age", "scanner"}, Entries: []Entry{
		{Case: "pine-042", Reader: "A", Replicate: "01", Series: filepath.FromSlash("/data/study/scans/pine"), Plan: filepath.FromSlash("/data/study/a.yaml"), Further: []string{"61", "-350, old"}, Line: 2},
		{Case: "fir 7", Series: filepath.FromSlash("/abs/fir.zip"), Plan: filepath.FromSlash("/data/b.yaml"), Further: []string{"", ""}, Line: 3},
	}}
	got, err := ReadManifest("m.csv", []byte("\xef\xbb\xbfcase,series,plan,reader,replicate,age,scanner\r\npine-042,scans/pine,a.yaml,A,01,61,\"-350, old\"\r\nfir 7,/abs/fir.zip,../b.yaml,,,,\r\n"), dir)
	require.NoError(t, err)
	require.Equal(t, want, got)
	for name, text := range map[string]string{
		"block.yaml": "- case: pine-042\n  series: scans/pine\n  plan: a.yaml\n  reader: A\n  replicate: 01\n  age: 61\n  scanner: \"-350, old\"\n- {case: fir 7, series: /abs/fir.zip, plan: ../b.yaml}\n",
		"m.json":     `[{"case":"pine-042","series":"scans/pine","plan":"a.yaml","reader":"A","replicate":"01","age":61,"scanner":"-350, old"},{"case":"fir 7","series":"/abs/fir.zip","plan":"../b.yaml"}]`,
	} {
		got, err := ReadManifest(name, []byte(text), dir)
		require.NoError(t, err, name)
		for i := range got.Entries {
			got.Entries[i].Line = want.Entries[i].Line
		}
		require.Equal(t, want, got, name)
	}
	require.Equal(t, "pine-042.A.01", want.Entries[0].Name())
	require.Equal(t, "fir 7", want.Entries[1].Name())
}

func TestManifestNamesEveryFaultAtOnce(t *testing.T) {
	_, err := ReadManifest("dir/m.csv", []byte("case,series,plan,reader,replicate,age,Age,value,Case,repeat\n"+
		"a/b,s,p,,,,,,,\n"+
		",s,p,,,,,,,\n"+
		"c,,p,A,,,,,,\n"+
		"c,s,p,,2,,,,,\n"+
		"d,s,p,A,1,,,,,\n"+
		"d,s,p,A,1,,,,,\n"+
		"d,s,p\n"+
		"d.A,s,p,1,,,,,,\n"+
		"con,s,p,,,,,,,\n"+
		"e,s,p,\"..\",,,,,,\n"), "")
	want := `m.csv:1: two columns are called "Age"; rename one
m.csv:1: column 8, "value", is the name of a column of the tables; rename it, as my_value
m.csv:1: two columns are called "Case"; rename one
m.csv:1: column 10, "repeat", is the older name of a column of the manifest; write replicate
m.csv:2: case "a/b" holds '/'; use letters, digits, - and _
m.csv:3: case "" is empty; use letters, digits, - and _
m.csv:4: the series has no path; give its path, from the manifest's folder
m.csv:5: replicate "2" stands without a reader; name the reader, as A
m.csv:7: case, reader and replicate are those of line 6; give it another replicate, or remove one
m.csv:8: 3 cells, the first row has 10; give each row a cell a column
m.csv:9: its folder d.A.1 would be that of line 6; rename one
m.csv:10: case "con" is a device name on some systems; use letters, digits, - and _
m.csv:11: reader ".." does not begin with a letter or a digit; use letters, digits, - and _`
	require.EqualError(t, err, want)
}

func TestManifestRefuses(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"m.csv", "", "m.csv: the file holds nothing; write a first row of names: case,series,plan,reader,replicate"},
		{"m.csv", "case,series,plan\n", "m.csv: the manifest lists no case; write one reading a row"},
		{"m.csv", "case;series;plan\na;b;c\n", `m.csv:1: there is no column "case"`},
		{"m.csv", "case,series,plan\na,\"b,c\n", "m.csv:2: not readable as CSV"},
		{"m.yaml", "case: a\n", "m.yaml: the file is no list of readings"},
		{"m.yaml", "- {case: a, series: s, plan: p}\n- just text\n", "m.yaml:2: the item is no mapping"},
		{"m.yaml", "- {case: a, series: s, plan: p, case: b}\n", `m.yaml:1: key "case" stands twice`},
		{"m.yaml", "- {case: a, series: [s], plan: p}\n", `"series" is not one value`},
		{"m.yaml", "- &x {case: a}\n- *x\n", "a YAML feature that a manifest does not use"},
		{"m.yaml", strings.Repeat("[", 100_000), "there are lists within lists"},
		{"m.yaml", strings.Repeat("- ", 100_000), "there are lists within lists"},
		{"m.yaml", "- {case: [a, series: s\n", "m.yaml"},
		{"no-such.csv", "", ""},
	} {
		var err error
		if c.want == "" {
			_, err = OpenManifest(c.name)
			c.want = "no-such.csv: no such file or directory; name a manifest (CSV or YAML)"
		} else {
			_, err = ReadManifest(c.name, []byte(c.text), "")
		}
		var faults ManifestErrors
		require.ErrorAs(t, err, &faults, c.text[:min(40, len(c.text))])
		require.ErrorContains(t, err, c.want)
	}
}

func TestLabelsThatAreNoFolderNames(t *testing.T) {
	for _, bad := range []string{"", ".", "..", "a/b", `a\b`, "-rf", "~root", " a", "a ", "a.", "a:b", "a\x00", "a\nb", "NUL", "com1.txt", "=1+1",
		"@x", "a|b", "a*", strings.Repeat("a", 65), "e\u0301", "a\u202eb", "a\u200bb", "$(x)", "a'b", "a\xff"} {
		require.NotEmpty(t, badLabel(bad), "%q", bad)
	}
	for _, good := range []string{"a", "pine-042", "Fall_7", "κ2", "über 3", "01", "a.b", "CONSTANT", "x--y"} {
		require.Empty(t, badLabel(good), "%q", good)
	}
}

func TestCellsOfTheManifestRunNoFormula(t *testing.T) {
	for in, want := range map[string]string{"=1+1": "'=1+1", "-350": "-350", "+1.5e3": "+1.5e3", "-350 old": "'-350 old", "@x": "'@x", " =x": "' =x",
		"a\tb": "a b", "\t=x": "' =x", "": "", "x": "x", "＝x": "'＝x"} {
		require.Equal(t, want, textOrNumber(in), "%q", in)
	}
}

// What parses has folder names of its own that stay in their folder, and reads the same once written
// back; what fails, fails as a manifest.
func FuzzManifest(f *testing.F) {
	f.Add("case,series,plan,reader,replicate,age\na,s,p,A,1,\"4,2\"\n", false)
	f.Add("- {case: a, series: s, plan: p, x: 1}\n- case: b\n  series: s\n  plan: p\n  y: |\n    text\n", true)
	f.Add("[{\"case\":\"a\"}]", true)
	f.Fuzz(func(t *testing.T, text string, asYAML bool) {
		name := map[bool]string{true: "m.yaml", false: "m.csv"}[asYAML]
		m, err := ReadManifest(name, []byte(text), "/d")
		if err != nil {
			var faults ManifestErrors
			require.ErrorAs(t, err, &faults)
			require.NotEmpty(t, faults)
			return
		}
		seen := map[string]bool{}
		for _, e := range m.Entries {
			require.True(t, filepath.IsLocal(e.Name()) && filepath.Base(e.Name()) == e.Name() && !strings.HasPrefix(e.Name(), "."), "%q", e.Name())
			require.False(t, seen[strings.ToLower(e.Name())])
			seen[strings.ToLower(e.Name())] = true
		}
		again, err := ReadManifest("m.csv", []byte(manifestText(m)), "/d")
		require.NoError(t, err)
		for i := range again.Entries {
			again.Entries[i].Line = m.Entries[i].Line
			for k, c := range m.Entries[i].Further {
				m.Entries[i].Further[k] = strings.ReplaceAll(c, "\r\n", "\n") // as encoding/csv reads it
			}
		}
		require.Equal(t, m, again)
	})
}

// manifestText writes a manifest as CSV, with absolute paths.
func manifestText(m *Manifest) string {
	rows := [][]string{append([]string{"case", "series", "plan", "reader", "replicate"}, m.Further...)}
	for _, e := range m.Entries {
		rows = append(rows, append([]string{e.Case, e.Series, e.Plan, e.Reader, e.Replicate}, e.Further...))
	}
	data, _ := csvBytes(rows)
	return string(data)
}
