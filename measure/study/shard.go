package study

import (
	"fmt"
	"strconv"
	"strings"
)

// Shard is one part of a study: every Count-th entry, beginning with the Index-th (from 0). The zero
// value is the whole.
type Shard struct{ Index, Count int }

// has reports whether the i-th entry of the manifest belongs to the shard.
func (s Shard) has(i int) bool { return s.Count <= 1 || i%s.Count == s.Index }

// String returns "3/20"; "" for the whole.
func (s Shard) String() string {
	if s.Count <= 1 {
		return ""
	}
	return fmt.Sprintf("%d/%d", s.Index, s.Count)
}

// NewShard returns part index (from 0) of count, or an error that says what is wrong with them.
func NewShard(index, count int) (Shard, error) {
	if count < 1 || index < 0 || index >= count {
		return Shard{}, fmt.Errorf("there is no part %d of %d; parts count from 0, so the last is 19/20", index, count)
	}
	return Shard{index, count}, nil
}

// ParseShard reads "i/n", i from 0 to n−1.
func ParseShard(text string) (Shard, error) {
	i, n, ok := strings.Cut(text, "/")
	index, err1 := strconv.Atoi(i)
	count, err2 := strconv.Atoi(n)
	if !ok || err1 != nil || err2 != nil {
		return Shard{}, fmt.Errorf("%q is no part; write i/n, as 0/20 for the first of 20", text)
	}
	return NewShard(index, count)
}

// ShardOf returns the shard that a cluster gave this process, and the name of the variable that said
// so; "" and the whole outside one. count is the number of parts, where the caller knows it; 0 takes
// the cluster's.
//
//	Slurm array            (SLURM_ARRAY_TASK_ID − SLURM_ARRAY_TASK_MIN) / SLURM_ARRAY_TASK_STEP of SLURM_ARRAY_TASK_COUNT;
//	                       with count, SLURM_ARRAY_TASK_ID of count, so that a part may be submitted again alone
//	Kubernetes Indexed Job JOB_COMPLETION_INDEX of count: the cluster does not say how many
func ShardOf(getenv func(string) string, count int) (s Shard, from string, err error) {
	number := func(name string, otherwise int) int {
		n, convErr := strconv.Atoi(getenv(name))
		if convErr != nil {
			return otherwise
		}
		return n
	}
	for _, from := range []string{"SLURM_ARRAY_TASK_ID", "JOB_COMPLETION_INDEX"} {
		index := number(from, -1)
		switch {
		case getenv(from) == "":
			continue
		case from == "SLURM_ARRAY_TASK_ID" && count == 0:
			count = number("SLURM_ARRAY_TASK_COUNT", 0)
			index = (index - number("SLURM_ARRAY_TASK_MIN", 0)) / max(1, number("SLURM_ARRAY_TASK_STEP", 1))
		case count == 0:
			return s, from, fmt.Errorf("%s is %d, but of how many is not known; say it with --shards", from, index)
		}
		if s, err = NewShard(index, count); err != nil {
			err = fmt.Errorf("%s: %w; say the number of parts with --shards", from, err)
		}
		return s, from, err
	}
	return s, "", nil
}
