package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// standing makes an earlier output in a new folder and returns its path.
func standing(t *testing.T, file string) string {
	dir := filepath.Join(t.TempDir(), "out")
	require.NoError(t, os.Mkdir(dir, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, file), []byte("old"), 0o644))
	return dir
}

func grow(t *testing.T, dir string) *folder {
	f, err := newFolder(dir, true)
	require.NoError(t, err)
	require.NoError(t, f.write("result.json", func(w io.Writer) error { _, err := w.Write([]byte("new")); return err }))
	return f
}

func names(t *testing.T, dir string) (all []string) {
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		all = append(all, e.Name())
	}
	return all
}

func TestReplaceKeepsTheOldFolderUntilTheNewOneStands(t *testing.T) {
	dir := standing(t, "result.json")
	f := grow(t, dir)
	old, err := os.ReadFile(filepath.Join(dir, "result.json"))
	require.NoError(t, err)
	assert.Equal(t, "old", string(old), "the old folder changed before commit")
	kept, err := f.commit()
	require.NoError(t, err)
	assert.Empty(t, kept)
	got, err := os.ReadFile(filepath.Join(dir, "result.json"))
	require.NoError(t, err)
	assert.Equal(t, "new", string(got))
	assert.Equal(t, []string{"out"}, names(t, filepath.Dir(dir)))
}

// The new folder is taken away under commit's feet: the old one must come back.
func TestReplaceThatFailsLosesNothing(t *testing.T) {
	dir := standing(t, "result.json")
	f := grow(t, dir)
	gone := f.temp
	f.temp = filepath.Join(t.TempDir(), "nothing")
	_, err := f.commit()
	require.Error(t, err)
	require.NoError(t, os.RemoveAll(gone))
	got, err := os.ReadFile(filepath.Join(dir, "result.json"))
	require.NoError(t, err)
	assert.Equal(t, "old", string(got))
	f.temp = gone
	aside := filepath.Join(filepath.Dir(dir), "elsewhere")
	require.NoError(t, os.Rename(dir, aside)) // and with the old one gone too, nothing is made up
	_, err = f.commit()
	assert.Error(t, err)
}

// A folder with somebody's own files is not ours to remove.
func TestReplaceKeepsWhatIsNotOurs(t *testing.T) {
	dir := standing(t, "thesis.docx")
	kept, err := grow(t, dir).commit()
	require.NoError(t, err)
	assert.Equal(t, filepath.Base(dir)+".old", filepath.Base(kept))
	assert.Equal(t, []string{"thesis.docx"}, names(t, kept))
	assert.Equal(t, []string{"result.json"}, names(t, dir))
}

func TestFolderFilledMeanwhileIsNotOverwritten(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	f, err := newFolder(dir, false)
	require.NoError(t, err)
	require.NoError(t, os.Mkdir(dir, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "other"), nil, 0o644))
	_, err = f.commit()
	require.ErrorContains(t, err, "was filled meanwhile")
	f.abandon()
	assert.Equal(t, []string{"out"}, names(t, filepath.Dir(dir)))
}

func TestOutputNamesStayInTheirFolder(t *testing.T) {
	f, err := newFolder(filepath.Join(t.TempDir(), "out"), false)
	require.NoError(t, err)
	defer f.abandon()
	for _, name := range []string{"../x", "/x", "a/../../x", ""} {
		_, err := f.create(name)
		assert.Error(t, err, name)
	}
}

func TestPanicIsAStatusAndOneLine(t *testing.T) {
	var stderr bytes.Buffer
	assert.Equal(t, exitFailure, guard(&stderr, func() int { panic("volume: bad index") }))
	assert.Regexp(t, `^ridgerule: unexpected failure, which is a fault of this program: volume: bad index; please send us ridgerule-fault-[0-9a-f]{12}\.txt from the folder for temporary files\n$`, stderr.String())
}
