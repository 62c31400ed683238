package dicomio

import (
	"bytes"
	"fmt"
	"io/fs"
	"runtime"
	"slices"
	"testing"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/internal/walk"
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

// Headers that are legal, and made to cost: many elements, many items, many values.
func TestRow33HeadersMadeToCost(t *testing.T) {
	whole := craft.Slice(0).Bytes()
	at := bytes.Index(whole, []byte{0x10, 0, 0x10, 0, 'P', 'N'})
	wanted := craft.AppendHead(nil, walk.Explicit, 0x00080008, "CS", 0)
	private := craft.AppendHead(nil, walk.Explicit, 0x00090008, "CS", 0)
	blank := append(craft.AppendHead(nil, walk.Explicit, 0x00081030, "LO", 0xFFFE), bytes.Repeat([]byte{'\\'}, 0xFFFE)...)
	short := append(craft.AppendHead(nil, walk.Explicit, 0x00081030, "LO", 4000), bytes.Repeat([]byte{'\\'}, 4000)...)
	for name, body := range map[string][]byte{
		"240,000 of one attribute":  bytes.Repeat(wanted, 240_000),
		"1,900,000 private":         bytes.Repeat(private, 1_900_000),
		"3,000,000 private":         bytes.Repeat(private, 3_000_000),
		"16 MB of empty values":     bytes.Repeat(blank, 250),
		"4 MB of short, empty ones": bytes.Repeat(short, 1000),
	} {
		data := slices.Concat(whole[:at], body, whole[at:])
		fsys := folder()
		add(fsys, "costly.dcm", data)
		frugal(t, name, len(data), func() { costly(t, name, fsys) })
	}
	for _, n := range []int{65_000, 240_000, 1_000_000} {
		c := craft.Slice(0).Set(0x00280008, "IS", fmt.Sprint(n))
		c.Elements[0x52009230] = craft.Element{VR: "SQ", Items: make([][]byte, n)}
		fsys := folder(c)
		frugal(t, fmt.Sprint(n, " empty items"), 8*n, func() { costly(t, fmt.Sprint(n), fsys) })
	}
}

func costly(t *testing.T, name string, fsys fs.FS) {
	cat, err := scanned(t, fsys)
	if err == nil {
		err = cat.Series[0].Err()
	}
	if _, ours := err.(*SeriesError); !ours {
		t.Errorf("%s: %v, want a *SeriesError", name, err)
	}
}
