package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write README.md's session from what the command prints")

// session is the README's block that begins with the demo's command.
var session = regexp.MustCompile("(?s)```console\n\\$ go run ./cmd/ridgerule (demo[^\n]*)\n(.*?)```")

// The README shows a real session: what the demo prints, word for word.
func TestReadmeShowsWhatTheDemoPrints(t *testing.T) {
	if testing.Short() {
		t.Skip("the demo makes and measures a whole jaw; not with -short")
	}
	name, err := filepath.Abs(filepath.Join(repository, "README.md"))
	require.NoError(t, err)
	text, err := os.ReadFile(name)
	require.NoError(t, err)
	found := session.FindSubmatchIndex(text)
	require.NotNil(t, found, "README.md has no session of the demo")
	command, want := string(text[found[2]:found[3]]), string(text[found[4]:found[5]])
	if want == "" && !*update {
		t.Skip("README.md shows no output of the demo yet: go test ./cmd/ridgerule -run Readme -update")
	}
	t.Chdir(t.TempDir())
	var out bytes.Buffer // both streams, as a terminal shows them
	require.Equal(t, exitDone, run(strings.Fields(command), &out, &out), out.String())
	if *update {
		text = append(append(append([]byte{}, text[:found[4]]...), out.Bytes()...), text[found[5]:]...)
		require.NoError(t, os.WriteFile(name, text, 0o644))
		return
	}
	assert.Equal(t, want, out.String())
}

// Each folder of test data says where it comes from, and the index names it.
func TestTestDataSaysWhereItComesFrom(t *testing.T) {
	index, err := os.ReadFile(filepath.Join(repository, "testdata", "README.md"))
	require.NoError(t, err)
	folders, err := filepath.Glob(filepath.Join(repository, "testdata", "*", ""))
	require.NoError(t, err)
	for _, dir := range folders {
		if info, err := os.Stat(dir); err != nil || !info.IsDir() {
			continue
		}
		base := filepath.Base(dir)
		_, err := os.Stat(filepath.Join(dir, "README.md"))
		assert.NoError(t, err, "testdata/%s has no README.md", base)
		assert.Contains(t, string(index), "("+base+"/README.md)", "testdata/README.md does not name %s", base)
	}
}

// A citation names the program's version, and no person.
func TestCitationNamesTheVersion(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(repository, "CITATION.cff"))
	require.NoError(t, err)
	assert.Contains(t, string(text), "\nversion: "+version+"\n")
	assert.NotContains(t, string(text), "family-names")
}

// agreeLine is a command line of agree in a page or in the command's own help.
var agreeLine = regexp.MustCompile(`(?m)^ *ridgerule (agree (?:[^\\\n]|\\\n)*)`)

// What the pages and the help tell a reader to type works on a merged table as study merge writes it.
func TestAgreeLinesOfThePagesWork(t *testing.T) {
	var table strings.Builder
	table.WriteString("case,reader,replicate,site,quantity,value,unit\n")
	for i := range 24 {
		fmt.Fprintf(&table, "c%d,%c,1,36,ridge_height,%d.%d,mm\nc%[1]d,%[2]c,1,36,ridge_tilt,%[4]d,deg\n", i/2, 'A'+i%2, 10+i/4, i*i%7)
	}
	pages := (&app{}).agree().Example
	for _, page := range []string{"README.md", "docs/studies.md", "docs/agreement.md"} {
		text, err := os.ReadFile(filepath.Join(repository, page))
		require.NoError(t, err)
		pages += "\n" + string(text)
	}
	var lines []string
	for _, m := range agreeLine.FindAllStringSubmatch(pages, -1) {
		lines = append(lines, m[1])
	}
	require.GreaterOrEqual(t, len(lines), 3, "README, docs/studies.md and the help show how")
	for _, line := range lines {
		t.Chdir(t.TempDir())
		require.NoError(t, os.Mkdir("study", 0o700))
		require.NoError(t, os.WriteFile("study/measurements.csv", []byte(table.String()), 0o600))
		line, _, _ = strings.Cut(strings.ReplaceAll(line, "\\\n", " "), "#")
		var out bytes.Buffer
		require.Equal(t, exitDone, run(strings.Fields(line), &out, &out), "%s\n%s", line, out.String())
	}
}
