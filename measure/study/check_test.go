package study

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What a run would stumble over at night is said before it, in the manifest's order, and nothing is written: a plan
// that cannot be read, one whose site lies past its arch or its scan, one made on another scan, a series that is
// not there, a folder without one, and a volume too large for the memory.
func TestCheckFindsWhatARunWould(t *testing.T) {
	home := t.TempDir()
	other := "for: {frame: " + strings.Repeat("ab", 32) + "}\n"
	for name, text := range map[string]string{"good.yaml": planText(0), "broken.yaml": "format: 1\ncase: x\njaw: both\n",
		"past.yaml": strings.Replace(planText(0), "arc_mm: 12", "arc_mm: 900", 1),
		"far.yaml":  strings.ReplaceAll(planText(0), ", 20]", ", 200]"), "other.yaml": planText(0) + other} {
		require.NoError(t, os.WriteFile(filepath.Join(home, name), []byte(text), 0o600))
	}
	require.NoError(t, os.Mkdir(filepath.Join(home, "empty"), 0o700))
	scan := fixture + "/scan"
	m, err := ReadManifest("m.csv", []byte("case,series,plan\ngood,"+scan+",good.yaml\nbroken,"+scan+",broken.yaml\npast,"+scan+",past.yaml\nfar,"+scan+
		",far.yaml\nother,"+scan+",other.yaml\ngone,Doe^Jane,good.yaml\nempty,empty,good.yaml\nnoplan,"+scan+",Doe.yaml\n"), home)
	require.NoError(t, err)
	last := 0
	faults, err := Check(context.Background(), m, CheckOptions{Jobs: 3, Progress: func(done, _ int) { last = done }})
	require.NoError(t, err)
	require.Equal(t, 8, last)
	var got []string
	for _, f := range faults {
		got = append(got, f.Case+" "+f.Stage)
		require.NotContains(t, f.Reason, "Doe")
		require.NotContains(t, f.Reason, home)
	}
	require.Equal(t, []string{"broken plan", "past plan", "far plan", "other plan", "gone series", "empty series", "noplan plan"}, got)
	require.Equal(t, 5, faults[2].Line)

	out, err := Run(context.Background(), m, t.TempDir(), Options{Do: doCase, Tool: "t"})
	require.NoError(t, err)
	require.Len(t, out.Failures, len(faults), "a run meets the same")

	faults, err = Check(context.Background(), m, CheckOptions{Memory: 150 << 20})
	require.NoError(t, err)
	require.Equal(t, "good "+StageMemory, faults[0].Case+" "+faults[0].Stage)

	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err = Check(ctx, m, CheckOptions{})
	require.ErrorIs(t, err, context.Canceled)
}
