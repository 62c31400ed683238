//go:build !linux

package dicomio

// hugePages does nothing: the system decides by itself.
func hugePages([]int16) {}
