//go:build unix

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ridgerule/dicomio/craft"
)

// Row 36: links in a loop and out of the folder, a pipe nobody writes to, a locked folder. Neither verb hangs, both say
// what they passed over, and the series is measured as ever.
func TestRow36LinksAndPipesThroughBothVerbs(t *testing.T) {
	r := read(36, "links and pipes", func(t *testing.T, dir string) string {
		if err := os.Symlink(dir, filepath.Join(dir, "loop")); err != nil {
			t.Skip("no symbolic links on this file system")
		}
		require.NoError(t, os.Symlink("/etc/passwd", filepath.Join(dir, "out")))
		if err := syscall.Mkfifo(filepath.Join(dir, "pipe"), 0o600); err != nil {
			t.Skip("no FIFO on this file system")
		}
		return whole(nil)(t, dir)
	}).list("passed over: 2 files, a symbolic link, not followed", "passed over: 1 files, not a regular file")
	inTime(t, func() { r.check(t) })
	pipe := refuse(36, "a pipe", func(t *testing.T, dir string) string {
		name := filepath.Join(dir, "pipe")
		require.NoError(t, syscall.Mkfifo(name, 0o600))
		return name
	}, "is neither a folder nor a regular file")
	inTime(t, func() { pipe.check(t) })
}

// inTime fails the test when do hangs.
func inTime(t *testing.T, do func()) {
	t.Helper()
	watch := time.AfterFunc(time.Minute, func() { panic("a verb hangs on a tricky folder") })
	defer watch.Stop()
	do()
}

// Row 43: 1000 × 800 × 800 voxels, in a file with a hole for pixels. With half a gigabyte allowed, inspect lists it and
// measure says what it needs before it takes any of it.
func TestRow43MemoryIsAskedForThroughBothVerbs(t *testing.T) {
	const columns, rows, frames = 1000, 800, 800
	r := late(43, "very large", func(t *testing.T, dir string) string {
		all := make([]*craft.File, frames)
		for k := range all {
			all[k] = craft.Slice(k)
			all[k].Pixels = nil
			all[k].Set(0x00280030, "DS", `0.1\0.1`).Set(0x00200032, "DS", fmt.Sprintf(`-50\-40\%.1f`, float64(k)*0.1))
		}
		c := craft.Frames(craft.EnhancedCT, all, true).US(0x00280010, rows).US(0x00280011, columns)
		c.NoPixels = true
		head := craft.AppendHead(c.Bytes(), craft.Explicit, 0x7FE00010, "OW", 2*columns*rows*frames)
		write(t, dir, "IM0001.dcm", head)
		if err := os.Truncate(filepath.Join(dir, "IM0001.dcm"), int64(len(head))+2*columns*rows*frames); err != nil {
			t.Skip("no file with holes on this file system")
		}
		return dir
	}, "the volume needs 1220 MiB of memory", "MiB are free", "close other programs")
	limit := debug.SetMemoryLimit(512 << 20)
	defer debug.SetMemoryLimit(limit)
	r.check(t)
}
