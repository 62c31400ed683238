//go:build !linux

package dicomio

// freeMemory returns 0: unknown here.
func freeMemory() int64 { return 0 }

// AvailableMemory returns how many bytes the machine has for new processes; 0, unknown, on this system.
func AvailableMemory() int64 { return 0 }
