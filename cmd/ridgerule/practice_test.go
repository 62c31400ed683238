package main

import (
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"ridgerule/measure/practice"
	"ridgerule/measure/report"
)

// practiceSet makes a set and returns its folder and its key.
func practiceSet(t *testing.T, seed string) (string, *practice.Key) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "set")
	var stderr bytes.Buffer
	status := run([]string{"practice", "make", "-o", dir, "--items", "2", "--hidden-repeats", "0", "--seed", seed, "--salt", strings.Repeat("5a", 16)}, io.Discard, &stderr)
	require.Equal(t, exitDone, status, stderr.String())
	file, err := os.Open(filepath.Join(dir, "key", "key.json"))
	require.NoError(t, err)
	defer file.Close()
	key, err := practice.ReadKey(file)
	require.NoError(t, err)
	return dir, key
}

// Outside key/ nothing tells the truth: with one salt, two sets of different truths have the same files of the same
// sizes, but for the digits of a place or a UID; no file holds seed, salt, kind of site or answer; and no attribute of
// a scan says what another item's does not.
func TestPracticeGivesNothingAway(t *testing.T) {
	dirA, keyA := practiceSet(t, "81985529216486895")
	dirB, keyB := practiceSet(t, "1147797409030816545")
	for i := range keyA.Items {
		require.NotEqual(t, keyA.Items[i].Truth, keyB.Items[i].Truth)
	}
	times := map[time.Time]string{}
	for name, at := range timesOf(t, dirA) {
		times[at] = name
	}
	require.Len(t, times, 1, "files are as old as each other, whatever was made first or took long")
	filesA, filesB := givenAway(t, dirA), givenAway(t, dirB)
	require.Equal(t, len(filesA), len(filesB))
	for name, data := range filesA {
		other, there := filesB[name]
		require.True(t, there, "%s is in one set only", name)
		if strings.HasSuffix(name, ".dcm") {
			require.InDelta(t, len(data), len(other), 200, name)
			require.Equal(t, headerOf(t, data), headerOf(t, other), name)
		}
		if strings.HasSuffix(name, ".png") {
			require.InDelta(t, len(data), len(other), 20, name) // digits of the least grey value
		}
		for _, needle := range secrets(keyA) {
			require.False(t, bytes.Contains(data, []byte(needle)), "%s holds %q", name, needle)
		}
	}
	for _, it := range keyA.Items {
		file, err := os.Open(filepath.Join(dirA, "key", "pictures", it.Sheet.Item+".png"))
		require.NoError(t, err)
		p, err := report.ReadPicture(file)
		require.NoError(t, err)
		file.Close()
		size := [2]int{240, 260}
		if it.Sheet.View == practice.Oblique {
			size = [2]int{180, 160}
		}
		require.Equal(t, size, [2]int{p.Width, p.Height}, "every picture of a view has one size")
		for _, g := range p.Grey {
			require.False(t, g != g, "a picture reaches out of its field") // NaN
		}
	}
}

// secrets are what only a key may hold.
func secrets(k *practice.Key) []string {
	out := []string{fmt.Sprint(k.Seed), fmt.Sprintf("%x", []byte(k.Salt)), string(k.Salt)}
	for _, it := range k.Items {
		out = append(out, fmt.Sprintf("%.4f", it.Truth), fmt.Sprint(it.Series), fmt.Sprint(it.Jaw.Seed))
		if ask, _ := it.Sheet.Question.Words(it.Sheet.Jaw); !strings.Contains(ask, it.Kind) {
			out = append(out, it.Kind)
		}
	}
	return out
}

// givenAway returns the files of a set that are given away, by name.
func givenAway(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		name, _ := filepath.Rel(dir, path)
		if err != nil || d.IsDir() || strings.HasPrefix(name, "key") {
			return err
		}
		data, err := os.ReadFile(path)
		out[filepath.ToSlash(name)] = data
		return err
	}))
	return out
}

// timesOf returns when each file and folder that is given away was changed.
func timesOf(t *testing.T, dir string) map[string]time.Time {
	t.Helper()
	out := map[string]time.Time{}
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		name, _ := filepath.Rel(dir, path)
		if err != nil || strings.HasPrefix(name, "key") || name == "." {
			return err
		}
		info, err := d.Info()
		out[name] = info.ModTime()
		return err
	}))
	return out
}

// headerOf lists a file's attributes but its UIDs, its place and its pixels.
func headerOf(t *testing.T, data []byte) []string {
	t.Helper()
	set, err := dicom.Parse(bytes.NewReader(data), int64(len(data)), nil, dicom.SkipPixelData())
	require.NoError(t, err)
	var out []string
	for _, e := range set.Elements {
		if e.RawValueRepresentation == "UI" || e.Tag == tag.PatientID || // both derived from a hash of the whole series
			e.Tag == tag.ImagePositionPatient || e.Tag == tag.PixelData || e.Tag == tag.FileMetaInformationGroupLength {
			continue
		}
		out = append(out, fmt.Sprint(e.Tag, e.Value))
	}
	return out
}
