//go:build !linux

package dicomio

// preferHugePages does nothing here.
func preferHugePages([]int16) {}
