package main

import (
	"bytes"
	"flag"
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
