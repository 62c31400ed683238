package dicomio

import (
	"context"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// benchSeries writes a native series of n slices of 512 × 512 once a benchmark, and returns its folder and size in bytes.
func benchSeries(b *testing.B, n int, options WriteOptions) (string, int64) {
	b.Helper()
	v, err := volume.New(volume.Grid{Size: [3]int{512, 512, n}, Step: [3]r3.Vec{{X: 0.2}, {Y: 0.2}, {Z: 0.2}}})
	if err != nil {
		b.Fatal(err)
	}
	for i := range v.Stored {
		v.Stored[i] = int16(i * 2654435761 >> 16)
	}
	dir := filepath.Join(b.TempDir(), "series")
	if err := WriteCT(dir, v, options); err != nil {
		b.Fatal(err)
	}
	return dir, int64(2 * 512 * 512 * n)
}

// bareRead reads every file into one fresh slab: the limit to compare with.
func bareRead(b *testing.B, dir string) []byte {
	entries, err := os.ReadDir(dir)
	if err != nil {
		b.Fatal(err)
	}
	var total int64
	for _, e := range entries {
		info, _ := e.Info()
		total += info.Size()
	}
	slab := make([]byte, total)
	at := 0
	for _, e := range entries {
		f, err := os.Open(filepath.Join(dir, e.Name()))
		if err != nil {
			b.Fatal(err)
		}
		n, _ := f.Read(slab[at:])
		at += n
		f.Close()
	}
	return slab
}

func readAll(b *testing.B, dir string) *volume.Volume {
	input, err := Open(dir, Limits{})
	if err != nil {
		b.Fatal(err)
	}
	defer input.Close()
	cat, err := Scan(context.Background(), input, Limits{})
	if err != nil {
		b.Fatal(err)
	}
	s, err := cat.Pick("")
	if err != nil {
		b.Fatal(err)
	}
	v, err := s.Read(context.Background(), nil)
	if err != nil {
		b.Fatal(err)
	}
	return v
}

// BenchmarkRead compares reading a native 512³ series, scan included, with a bare read of its files by one goroutine
// into one fresh slab.
func BenchmarkRead(b *testing.B) {
	for _, c := range []struct {
		name    string
		options WriteOptions
	}{{"signed", WriteOptions{}}, {"unsigned", WriteOptions{Unsigned: true}}} {
		dir, size := benchSeries(b, 512, c.options)
		b.Run(c.name+"/bare", func(b *testing.B) {
			b.SetBytes(size)
			for b.Loop() {
				runtime.KeepAlive(bareRead(b, dir))
			}
		})
		b.Run(c.name+"/series", func(b *testing.B) {
			b.SetBytes(size)
			b.ReportAllocs()
			for b.Loop() {
				runtime.KeepAlive(readAll(b, dir))
			}
		})
	}
}

// BenchmarkFirstTouch compares what the memory of a 256 MiB volume costs when it is first written to, on ordinary pages and
// on the pages that [hugePages] asks for. The memory goes back to the system in between, so that each time is the first.
func BenchmarkFirstTouch(b *testing.B) {
	for _, c := range []struct {
		name string
		ask  func([]int16)
	}{{"ordinary", func([]int16) {}}, {"huge", hugePages}} {
		b.Run(c.name, func(b *testing.B) {
			b.SetBytes(256 << 20)
			for b.Loop() {
				touch(c.ask)
				b.StopTimer()
				debug.FreeOSMemory()
				b.StartTimer()
			}
		})
	}
}

// touch writes once to every page of a fresh slab of 256 MiB.
func touch(ask func([]int16)) {
	stored := make([]int16, 128<<20)
	ask(stored)
	for i := 0; i < len(stored); i += 2048 {
		stored[i] = 1
	}
	runtime.KeepAlive(stored)
}

// BenchmarkReadMultiFrame reads one Enhanced CT file of 256 frames of 512 × 512, and the same file bare.
func BenchmarkReadMultiFrame(b *testing.B) {
	order := make([]int, 256)
	for k := range order {
		order[k] = k
	}
	c := frames(enhancedCT, order, true).US(0x00280010, 512).US(0x00280011, 512)
	c.Pixels = make([]uint16, 256*512*512)
	dir := b.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "all.dcm"), c.Bytes(), 0o600); err != nil {
		b.Fatal(err)
	}
	b.Run("bare", func(b *testing.B) {
		b.SetBytes(2 * 256 * 512 * 512)
		for b.Loop() {
			runtime.KeepAlive(bareRead(b, dir))
		}
	})
	b.Run("series", func(b *testing.B) {
		b.SetBytes(2 * 256 * 512 * 512)
		for b.Loop() {
			runtime.KeepAlive(readAll(b, dir))
		}
	})
}

// BenchmarkScan reads 512 headers.
func BenchmarkScan(b *testing.B) {
	dir, _ := benchSeries(b, 512, WriteOptions{})
	for b.Loop() {
		input, err := Open(dir, Limits{})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := Scan(context.Background(), input, Limits{}); err != nil {
			b.Fatal(err)
		}
		input.Close()
	}
}
