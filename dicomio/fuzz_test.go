package dicomio

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"runtime"
	"testing"
	"testing/fstest"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/internal/walk"
)

// fuzzLimits keep a fuzzing step small; a hostile file meets the same code with larger limits.
var fuzzLimits = Limits{Inflated: 4 << 20, Volume: 64 << 20, Workers: 1}

// mostMemory is what one hostile input may allocate in all, live or not, beyond 400 times its own size.
const mostMemory = 200 << 20

// answer scans and reads everything behind an input, and fails on what is neither a volume nor our error.
func answer(t *testing.T, input *Input) (hashes []string) {
	cat, err := Scan(context.Background(), input, fuzzLimits)
	ours(t, err)
	if cat == nil {
		return nil
	}
	for _, s := range cat.Series {
		v, err := s.Read(context.Background(), nil)
		ours(t, err)
		if err == nil {
			if v.Check() != nil || len(v.Stored) != v.Size[0]*v.Size[1]*v.Size[2] || v.Size[2] < fewest {
				t.Fatalf("a volume that makes no sense: %v", v.Grid)
			}
			hashes = append(hashes, s.Hash(v))
		}
		_ = s.Err()
	}
	_, err = cat.Pick("")
	if err != nil && !errors.Is(err, ErrSelector) {
		ours(t, err)
	}
	return hashes
}

func ours(t *testing.T, err error) {
	t.Helper()
	if _, ok := err.(*SeriesError); err != nil && !ok {
		t.Fatalf("not our error: %T %v", err, err)
	}
}

// bounded runs do twice, wants the same answer, and bounds what it allocates.
func bounded(t *testing.T, size int, do func() []string) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	first := do()
	runtime.ReadMemStats(&after)
	if took := after.TotalAlloc - before.TotalAlloc; took > mostMemory+400*uint64(size) {
		t.Fatalf("%d bytes allocated for %d bytes of input", took, size)
	}
	second := do()
	if len(first) != len(second) {
		t.Fatalf("read twice: %d volumes, then %d", len(first), len(second))
	}
	for i := range first {
		if first[i] != second[i] {
			t.Fatal("read twice, with two results")
		}
	}
}

func seeds() [][]byte {
	var out [][]byte
	for _, syntax := range []string{walk.Explicit, walk.Implicit, walk.BigEndian, walk.Deflated} {
		c := craft.Slice(4)
		c.Syntax = syntax
		out = append(out, c.Bytes())
	}
	for _, class := range []string{enhancedCT, xray3DCranio} {
		out = append(out, frames(class, []int{4, 6, 5}, true).Bytes(), frames(class, []int{4, 6, 5}, false).Bytes())
	}
	for _, syntax := range []string{walk.RLE, walk.JPEGSV1, walk.JPEGLS, walk.JPEG2000, walk.JPEGBaseline} {
		c := frames(enhancedCT, []int{4, 5, 6}, true)
		c.Syntax, c.Pixels = syntax, nil
		for k := 4; k < 7; k++ {
			c.Fragments = append(c.Fragments, craft.RLEFrame(craft.Slice(k).Pixels))
		}
		out = append(out, c.Bytes())
	}
	plain := craft.Slice(4).Set(0x00280008, "IS", "3").Set(0x00180088, "DS", "0.5").US(0x00280120, 0xF830)
	plain.Pixels = append(append(plain.Pixels, craft.Slice(5).Pixels...), craft.Slice(6).Pixels...)
	return append(out, plain.Bytes(), craft.Directory(`A\B`, `..\C`))
}

// FuzzSeries reads a file alone and as the end of a stack of four good slices.
func FuzzSeries(f *testing.F) {
	for _, data := range seeds() {
		f.Add(data)
	}
	good := folder(craft.Stack(4)...)
	f.Fuzz(func(t *testing.T, data []byte) {
		bounded(t, len(data), func() []string {
			both := fstest.MapFS{}
			for name, file := range good {
				both[name] = file
			}
			add(both, "zz", data)
			alone := fstest.MapFS{}
			add(alone, "DICOMDIR", data)
			var hashes []string
			for _, fsys := range []fstest.MapFS{both, alone} {
				input, err := NewInput(fsys, fuzzLimits)
				if err != nil {
					t.Fatal(err)
				}
				hashes = append(hashes, answer(t, input)...)
			}
			listed := &Input{FS: alone, Names: []string{"DICOMDIR"}}
			ours(t, listed.followDirectory("DICOMDIR", fuzzLimits.withDefaults(1)))
			return hashes
		})
	})
}

// FuzzZip reads an archive.
func FuzzZip(f *testing.F) {
	for _, method := range []uint16{zip.Store, zip.Deflate} {
		var b bytes.Buffer
		w := zip.NewWriter(&b)
		for _, c := range craft.Stack(3) {
			part, _ := w.CreateHeader(&zip.FileHeader{Name: "d/" + string(rune('a'+c.Pixels[0]%7)), Method: method})
			part.Write(c.Bytes())
		}
		w.CreateRaw(&zip.FileHeader{Name: "../x", Flags: 1})
		w.Close()
		f.Add(b.Bytes())
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		bounded(t, len(data), func() []string {
			input, err := newZipDoor(bytes.NewReader(data), int64(len(data)), "fuzz.zip", fuzzLimits.withDefaults(1))
			ours(t, err)
			if err != nil {
				return nil
			}
			return answer(t, input)
		})
	})
}
