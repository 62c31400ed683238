package dicomio

import (
	"runtime"
	"testing"
)

// frugal runs do and fails when it allocates more than 64 MiB in all, live or not, beyond three times size.
func frugal(t *testing.T, name string, size int, do func()) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	do()
	runtime.ReadMemStats(&after)
	if took := after.TotalAlloc - before.TotalAlloc; took > 64<<20+3*uint64(size) {
		t.Errorf("%s: %d MiB allocated for %d bytes of input", name, took>>20, size)
	}
}
