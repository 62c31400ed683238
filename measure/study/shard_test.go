package study

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Every entry belongs to exactly one part.
func TestPartsShareTheEntries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "parts")
		i := rapid.IntRange(0, 500).Draw(t, "entry")
		of := 0
		for k := range n {
			if s, err := NewShard(k, n); err != nil || s.has(i) {
				of++
			}
		}
		if of != 1 {
			t.Fatalf("entry %d belongs to %d of %d parts", i, of, n)
		}
	})
}

func TestPartFromTheCluster(t *testing.T) {
	type env = map[string]string
	for _, c := range []struct {
		env   env
		count int
		want  string
		err   string
	}{
		{env{}, 0, "", ""},
		{env{"SLURM_ARRAY_TASK_ID": "3", "SLURM_ARRAY_TASK_COUNT": "20", "SLURM_ARRAY_TASK_MIN": "0"}, 0, "3/20", ""},
		{env{"SLURM_ARRAY_TASK_ID": "20", "SLURM_ARRAY_TASK_COUNT": "20", "SLURM_ARRAY_TASK_MIN": "1"}, 0, "19/20", ""},
		{env{"SLURM_ARRAY_TASK_ID": "30", "SLURM_ARRAY_TASK_COUNT": "4", "SLURM_ARRAY_TASK_MIN": "0", "SLURM_ARRAY_TASK_STEP": "10"}, 0, "3/4", ""},
		{env{"SLURM_ARRAY_TASK_ID": "7", "SLURM_ARRAY_TASK_COUNT": "2", "SLURM_ARRAY_TASK_MIN": "3"}, 20, "7/20", ""}, // --array=3,7 again
		{env{"SLURM_ARRAY_TASK_ID": "7", "SLURM_ARRAY_TASK_COUNT": "2", "SLURM_ARRAY_TASK_MIN": "3"}, 0, "", "no part 4 of 2"},
		{env{"JOB_COMPLETION_INDEX": "4"}, 5, "4/5", ""},
		{env{"JOB_COMPLETION_INDEX": "4"}, 0, "", "of how many is not known; say it with --shards"},
		{env{"JOB_COMPLETION_INDEX": "5"}, 5, "", "no part 5 of 5"},
		{env{"JOB_COMPLETION_INDEX": "x"}, 5, "", "no part -1 of 5"},
	} {
		s, _, err := ShardOf(func(k string) string { return c.env[k] }, c.count)
		if c.err != "" {
			require.ErrorContains(t, err, c.err, c.env)
			continue
		}
		require.NoError(t, err, c.env)
		require.Equal(t, c.want, s.String(), c.env)
	}
}

func TestParsePart(t *testing.T) {
	s, err := ParseShard("19/20")
	require.NoError(t, err)
	require.Equal(t, Shard{19, 20}, s)
	for _, bad := range []string{"", "3", "20/20", "-1/4", "1/0", "a/b", "1/2/3"} {
		_, err := ParseShard(bad)
		require.Error(t, err, bad)
	}
}

func TestParseMemory(t *testing.T) {
	for in, want := range map[string]int64{"6000M": 6000 << 20, "12G": 12 << 30, "512MiB": 512 << 20, "1gb": 1 << 30, "1048576": 1 << 20, "2 T": -1, "": -1, "x": -1, "-1G": -1, "9999999999T": -1, "0": -1} {
		got, err := ParseMemory(in)
		if want < 0 {
			require.Error(t, err, in)
			continue
		}
		require.NoError(t, err, in)
		require.Equal(t, want, got, in)
	}
}
