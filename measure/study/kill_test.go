//go:build unix

package study

import (
	"context"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A study killed at random moments and taken up again gives the bytes of one that was not, and a
// kill loses no more than what was in flight. RIDGERULE_LONG=1 makes it 200 cases and 5 kills.
func TestKilledStudyGoesOnToTheSameBytes(t *testing.T) {
	cases, kills := 20, 3
	if os.Getenv("RIDGERULE_LONG") != "" {
		cases, kills = 200, 5
	}
	m := manifestOf(t, cases)
	whole, killed := t.TempDir(), t.TempDir()
	_, err := Run(context.Background(), m, whole, Options{Do: doCase, Tool: "t", Jobs: 2})
	require.NoError(t, err)

	path := filepath.Join(fixture, "killed.csv")
	require.NoError(t, os.WriteFile(path, []byte(manifestText(m)), 0o600))
	rng := rand.New(rand.NewPCG(7, uint64(cases)))
	done := 0
	for range kills {
		upTo := done + 1 + rng.IntN(max(1, (cases-done)/kills))
		killAt(t, path, killed, upTo, time.Duration(rng.IntN(20_000))*time.Microsecond)
		now := count(t, killed)
		require.GreaterOrEqual(t, now, upTo, "a kill lost what was done")
		require.Less(t, now, cases, "the study ended before it was killed")
		done = now
	}
	out, err := Run(context.Background(), m, killed, Options{Do: doCase, Tool: "t", Jobs: 1})
	require.NoError(t, err)
	require.Equal(t, Outcome{Entries: cases, Before: done, Done: cases - done}, out)
	require.Equal(t, tables(t, whole), tables(t, killed))
	hidden, err := filepath.Glob(filepath.Join(killed, "cases", ".*"))
	require.NoError(t, err)
	require.Empty(t, hidden, "rests of a killed run")
}

// killAt starts the study in a process of its own and kills it a moment after so many cases are whole.
func killAt(t *testing.T, manifest, dir string, cases int, after time.Duration) {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	c := exec.Command(self)
	c.Env = append(os.Environ(), childEnv+"="+manifest+"|"+dir)
	c.Stderr = os.Stderr
	require.NoError(t, c.Start())
	for start := time.Now(); count(t, dir) < cases; time.Sleep(time.Millisecond) {
		require.Less(t, time.Since(start), time.Minute, "no progress")
	}
	time.Sleep(after)
	require.NoError(t, c.Process.Kill()) // SIGKILL
	_ = c.Wait()
}

// count returns how many entries are whole, and holds each to its marker.
func count(t *testing.T, dir string) int {
	t.Helper()
	entries, _ := os.ReadDir(filepath.Join(dir, "cases"))
	n := 0
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			continue
		}
		_, err := readMarker(filepath.Join(dir, "cases", e.Name()))
		require.NoError(t, err, "a folder in its place that is not whole")
		n++
	}
	return n
}
