package main

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Where nothing can be drawn, a run of hours says a line for every tenth, and for every minute in between; one of
// seconds says none.
func TestProgressLinesWithoutATerminal(t *testing.T) {
	var log bytes.Buffer
	now := time.Unix(0, 0)
	a := &app{stderr: &log, now: func() time.Time { return now }}
	step, end := a.studyProgress("measured")
	step(1, 1000) // in the first seconds
	require.Empty(t, log.String())
	for i := 2; i <= 1000; i++ {
		now = now.Add(10 * time.Second)
		step(i, 1000)
	}
	end()
	lines := strings.Split(strings.TrimSpace(log.String()), "\n")
	require.InDelta(t, 9990/60, len(lines), 12)
	require.Contains(t, lines[0], "measured 2 of 1000; 10s gone, about 1h23m10s left")
	for tenth := 1; tenth <= 10; tenth++ {
		require.Contains(t, log.String(), fmt.Sprintf("measured %d of 1000;", 100*tenth))
	}

	log.Reset()
	a.quiet = true
	step, _ = a.studyProgress("measured")
	now = now.Add(time.Hour)
	step(500, 1000)
	require.Empty(t, log.String())
}
