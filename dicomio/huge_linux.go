package dicomio

import "syscall"

// preferHugePages asks for large pages under a fresh slab: taking memory from the system page by page costs as much as
// reading the pixels into it. A system that refuses changes nothing but the speed.
func preferHugePages(slab []int16) {
	const (
		page      = 1 << 12
		advice    = 14 // MADV_HUGEPAGE, madvise(2)
		worthIt   = 8 << 20
		alignment = page - 1
	)
	b := bytesOf(slab)
	if len(b) < worthIt {
		return
	}
	skip := -int(addressOf(b)) & alignment
	b = b[skip:]
	_ = syscall.Madvise(b[:len(b)&^alignment], advice)
}
