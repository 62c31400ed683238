//go:build !linux

package study

// FreeMemory returns the bytes that may still be taken here; 0, unknown, on this system.
func FreeMemory() int64 { return 0 }
