package dicomio

import (
	"os"
	"strconv"
	"strings"
	"syscall"
)

// freeMemory returns how many bytes this process may still take: the least of what the machine has and what its limit
// on address space leaves; 0 when unknown.
func freeMemory() int64 {
	free := AvailableMemory()
	var limit syscall.Rlimit
	if syscall.Getrlimit(syscall.RLIMIT_AS, &limit) == nil && limit.Cur < 1<<62 {
		left := max(1, int64(limit.Cur)-addressSpace())
		if free == 0 || left < free {
			free = left
		}
	}
	return free
}

// AvailableMemory returns how many bytes the machine has for new processes (MemAvailable); 0 when unknown.
func AvailableMemory() int64 {
	text, err := os.ReadFile("/proc/meminfo")
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "MemAvailable:")
	fields := strings.Fields(rest)
	if len(fields) == 0 {
		return 0
	}
	kib, _ := strconv.ParseInt(fields[0], 10, 64)
	return kib << 10
}

// addressSpace returns the bytes of address space in use, 0 when unknown.
func addressSpace() int64 {
	text, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		return 0
	}
	pages, _, _ := strings.Cut(string(text), " ")
	n, _ := strconv.ParseInt(pages, 10, 64)
	return n * int64(os.Getpagesize())
}
