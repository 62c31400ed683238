package study

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// merged is a measured and merged study of n readings.
func merged(t *testing.T, n int) (m *Manifest, dir string) {
	t.Helper()
	m, dir = manifestOf(t, n), t.TempDir()
	_, err := Run(context.Background(), m, dir, Options{Do: doCase, Tool: "t 1"})
	require.NoError(t, err)
	_, err = Merge(dir, MergeOptions{})
	require.NoError(t, err)
	return m, dir
}

func rowsOf(t *testing.T, path string) [][]string {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	rows, err := csv.NewReader(strings.NewReader(string(data))).ReadAll()
	require.NoError(t, err)
	return rows
}

// Every file of every case is held against its hash: all that were changed are named at once, nothing is merged,
// and the next run measures them again and says so.
func TestDamageIsNamedAllAtOnce(t *testing.T) {
	m, dir := merged(t, 6)
	before, err := os.ReadFile(filepath.Join(dir, "measurements.csv"))
	require.NoError(t, err)
	in := func(parts ...string) string { return filepath.Join(append([]string{dir, "cases"}, parts...)...) }
	result, err := os.ReadFile(in("wall-0.A.1", "result.json"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(in("wall-0.A.1", "result.json"), []byte(strings.Replace(string(result), "uncertain", "held", 1)+" "), 0o600))
	require.NoError(t, os.Remove(in("wall-1.B.1", "result.json")))
	require.NoError(t, os.WriteFile(in("wall-2.A.1", "sites.csv"), nil, 0o600))
	require.NoError(t, os.WriteFile(in("wall-2.B.1", "inputs.json"), []byte("{"), 0o600))

	_, err = Merge(dir, MergeOptions{})
	require.ErrorIs(t, err, ErrDamaged)
	remedy := "; remove that folder and run the study again"
	require.EqualError(t, err, ErrDamaged.Error()+":\n"+strings.Join([]string{
		"cases/wall-0.A.1: result.json was changed after it was made" + remedy,
		"cases/wall-1.B.1: result.json is missing" + remedy,
		"cases/wall-2.A.1: sites.csv was changed after it was made" + remedy,
		"cases/wall-2.B.1: inputs.json is not readable, or of an older version" + remedy}, "\n"))
	after, err := os.ReadFile(filepath.Join(dir, "measurements.csv"))
	require.NoError(t, err)
	require.Equal(t, before, after)
	left, err := filepath.Glob(filepath.Join(dir, ".*.part-*"))
	require.NoError(t, err)
	require.Empty(t, left, "half-made tables")

	out, err := Run(context.Background(), m, dir, Options{Do: doCase, Tool: "t 1"})
	require.NoError(t, err)
	require.Equal(t, 4, out.Done)
	require.Len(t, out.Damaged, 4)
	require.Equal(t, "cases/wall-1.B.1: result.json is missing", out.Damaged[1])
	_, err = Merge(dir, MergeOptions{})
	require.NoError(t, err)
}

// A merged study says by which version and from which plan and series each reading was measured: what result.json says.
func TestMergedStudyCarriesVersionsAndHashes(t *testing.T) {
	_, dir := merged(t, 4)
	rows := rowsOf(t, filepath.Join(dir, "cases.csv"))
	require.Equal(t, []string{"case", "reader", "replicate", "age", "tool", "plan_sha256", "series_hash", "measurements_sha256"}, rows[0])
	require.Len(t, rows, 5)
	for _, row := range rows[1:] {
		folder := filepath.Join(dir, "cases", strings.Join(row[:3], "."))
		var r struct {
			Scan struct {
				Hash string `json:"series_hash"`
			} `json:"scan"`
			Provenance struct {
				Plan struct{ SHA256 string } `json:"plan"`
			} `json:"provenance"`
		}
		data, err := os.ReadFile(filepath.Join(folder, "result.json"))
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(data, &r))
		sum, err := FileHash(filepath.Join(folder, "measurements.csv"))
		require.NoError(t, err)
		require.Equal(t, []string{"t 1", r.Provenance.Plan.SHA256, r.Scan.Hash, sum}, row[4:])
		require.Len(t, r.Scan.Hash, 64)
	}
}

// Every merged table has a key that no two rows share, and none has the manifest's paths.
func TestMergedTablesHaveKeysAndNoPaths(t *testing.T) {
	_, dir := merged(t, 6)
	var p struct {
		Resources []struct {
			Path   string
			Schema struct{ PrimaryKey []string }
		}
	}
	data, err := os.ReadFile(filepath.Join(dir, "datapackage.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &p))
	require.Len(t, p.Resources, 4)
	for _, r := range p.Resources {
		rows := rowsOf(t, filepath.Join(dir, r.Path))
		require.NotContains(t, rows[0], "series")
		require.NotContains(t, rows[0], "plan")
		require.NotEmpty(t, r.Schema.PrimaryKey, r.Path)
		seen := map[string]bool{}
		for _, row := range rows[1:] {
			var key []string
			for _, k := range r.Schema.PrimaryKey {
				at := slices.Index(rows[0], k)
				require.GreaterOrEqual(t, at, 0, "%s: %s", r.Path, k)
				key = append(key, row[at])
			}
			require.False(t, seen[strings.Join(key, "\x1f")], "%s: %q twice", r.Path, key)
			seen[strings.Join(key, "\x1f")] = true
		}
	}
}

// studyOf makes the folder of a study of n readings, each of which is the same one under another name; big is how
// often the rows of its measurements are repeated.
func studyOf(t testing.TB, n, big int) string {
	t.Helper()
	study := dir(t.TempDir())
	one := study.at("one")
	require.NoError(t, os.Mkdir(one, 0o700))
	require.NoError(t, doCase(context.Background(), Job{Case: "one", Series: filepath.Join(fixture, "scan"), Plan: filepath.Join(fixture, "plan0.yaml"), Folder: one}))
	table := filepath.Join(one, "measurements.csv")
	data, err := os.ReadFile(table)
	require.NoError(t, err)
	head, rows, _ := strings.Cut(string(data), "\n")
	require.NoError(t, os.WriteFile(table, []byte(head+"\n"+strings.Repeat(rows, big)), 0o600))
	require.NoError(t, writeMarker(one, "t", inputs{}))
	files, err := os.ReadDir(one)
	require.NoError(t, err)
	m := &Manifest{}
	for i := range n {
		e := Entry{Case: fmt.Sprintf("case-%d", i)}
		m.Entries = append(m.Entries, e)
		to := study.whole(e.Name())
		require.NoError(t, os.MkdirAll(to, 0o700))
		for _, f := range files {
			require.NoError(t, os.Link(filepath.Join(one, f.Name()), filepath.Join(to, f.Name())))
		}
	}
	require.NoError(t, study.writeRoll(m))
	return string(study)
}

// A merge holds no table: 60 readings of 450 kB each, 27 MB, in a heap that stays under 12 MB.
func TestMergeHoldsNoTable(t *testing.T) {
	dir := studyOf(t, 60, 400)
	info, err := os.Stat(filepath.Join(dir, "one", "measurements.csv"))
	require.NoError(t, err)
	require.Greater(t, info.Size(), int64(350_000))
	var most uint64
	_, err = Merge(dir, MergeOptions{Progress: func(done, _ int) {
		if done%20 == 0 {
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapAlloc)
		}
	}})
	require.NoError(t, err)
	t.Logf("%d readings of %d kB: heap %.1f MB", 60, info.Size()>>10, float64(most)/1e6)
	require.Less(t, most, uint64(12<<20))
}

// Time a reading, of ten times as many: the ratio is 1 where time is linear.
func BenchmarkMerge(b *testing.B) {
	for _, n := range []int{300, 3000} {
		b.Run(fmt.Sprintf("readings=%d", n), func(b *testing.B) {
			dir := studyOf(b, n, 1)
			for b.Loop() {
				_, err := Merge(dir, MergeOptions{})
				require.NoError(b, err)
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*n), "µs/reading")
		})
	}
}
