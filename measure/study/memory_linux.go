package study

import (
	"os"
	"strconv"
	"strings"

	"ridgerule/dicomio"
)

// FreeMemory returns the bytes that may still be taken here: what the machine has available, or what
// the control group (a container's, a cluster job's) leaves if that is less; 0 when unknown.
func FreeMemory() int64 {
	free := dicomio.AvailableMemory()
	for _, g := range [][2]string{
		{"/sys/fs/cgroup/memory.max", "/sys/fs/cgroup/memory.current"},
		{"/sys/fs/cgroup/memory/memory.limit_in_bytes", "/sys/fs/cgroup/memory/memory.usage_in_bytes"},
	} {
		limit, used := readNumber(g[0]), readNumber(g[1])
		if left := limit - used; limit > 0 && (free == 0 || left < free) {
			free = max(1, left)
		}
	}
	return free
}

// readNumber returns a file's number, 0 when there is none.
func readNumber(path string) int64 {
	text, err := os.ReadFile(path)
	if err != nil {
		return 0
	}
	n, _ := strconv.ParseInt(strings.TrimSpace(string(text)), 10, 64)
	return n
}
