package dicomio

import (
	"archive/zip"
	"bytes"
	"fmt"
	"testing"
	"testing/fstest"

	"ridgerule/dicomio/craft"
)

// A slice missing at an end of the stack leaves no gap.

// export writes the slices under names made by name.
func export(files []*craft.File, name func(k int) string) fstest.MapFS {
	fsys := fstest.MapFS{}
	for k, c := range files {
		add(fsys, name(k), c.Bytes())
	}
	return fsys
}

// letters names slices by letters alone.
func letters(k int) string { return "IMG" + string(rune('A'+k)) }

func TestSpoiltSliceAtAnEndIsCautioned(t *testing.T) {
	names := map[string]func(int) string{
		"counted": func(k int) string { return fmt.Sprintf("scan/IM%04d", k) },
		"ended":   func(k int) string { return fmt.Sprintf("scan/%c%d.dcm", 'a'+k, 7*k) },
		"digests": func(k int) string { return fmt.Sprintf("%016x", 0x9e3779b97f4a7c15*uint64(k+1)) },
		"letters": letters,
		"folders": func(k int) string { return fmt.Sprintf("slice%d/image", k) },
	}
	whole := craft.Slice(5).Bytes()
	spoilt := map[string][]byte{"empty": {}, "zeroed": make([]byte, len(whole)), "131 bytes": whole[:131],
		"text": []byte("404 not found"), "preamble zeroed": append(make([]byte, 200), whole[200:]...)}
	for scheme, name := range names {
		for _, end := range []int{0, 5} {
			for what, data := range spoilt {
				fsys := export(craft.Stack(6), name)
				add(fsys, name(end), data)
				s := only(t, fsys)
				has(t, s, "files_like_slices", scheme+", "+what)
			}
		}
	}
}

// has checks that the series is fit with a caution.
func has(t *testing.T, s *Series, code, about string) {
	t.Helper()
	for _, c := range s.Cautions {
		if c.Code == code && s.Verdict() == FitWithCautions {
			says(t, c.Text)
			return
		}
	}
	t.Errorf("%s: verdict %v, cautions %v, problems %v, want the caution %s", about, s.Verdict(), s.Cautions, s.Problems, code)
}

func TestOtherFilesBesideTheSlicesAreNone(t *testing.T) {
	fsys := export(craft.Stack(6), func(k int) string { return fmt.Sprintf("scan/IM%04d", k) })
	for _, name := range []string{"scan/README", "scan/.DS_Store", "viewer.exe", "scan/Thumbs.db", "report12.pdf", "scan/IM.txt"} {
		add(fsys, name, []byte("no image"))
	}
	cautioned(t, only(t, fsys))
}

func TestInstanceNumbersThatShowAMissingEnd(t *testing.T) {
	stack := craft.Stack(9)
	has(t, only(t, folder(stack[1:]...)), "instance_numbers", "without the first")
	has(t, only(t, folder(stack[4:]...)), "instance_numbers", "without four")
	jump := craft.Stack(6)
	jump[5].Set(0x00200013, "IS", "8")
	has(t, only(t, folder(jump...)), "instance_numbers", "a jump before the last")
	down := craft.Stack(6) // counted from the head down: the first number lies at the other end
	for k, c := range down {
		c.Set(0x00200013, "IS", fmt.Sprint(6-k))
	}
	has(t, only(t, folder(down[:5]...)), "instance_numbers", "descending")
	stated := craft.Stack(6)
	for _, c := range stated {
		c.Set(0x00201002, "IS", "6")
	}
	has(t, only(t, folder(stated[:5]...)), "instance_numbers", "fewer than stated")
	cautioned(t, only(t, folder(stated...)))
}

func TestInstanceNumbersThatShowNothing(t *testing.T) {
	for about, number := range map[string]func(k int) int{
		"from 0": func(k int) int { return k }, "all one": func(int) int { return 1 }, "by threes": func(k int) int { return 3*k + 1 },
	} {
		files := craft.Stack(6)
		for k, c := range files {
			c.Set(0x00200013, "IS", fmt.Sprint(number(k)))
		}
		s := only(t, folder(files...))
		if cautioned(t, s); t.Failed() {
			t.Fatal(about)
		}
	}
	scout := craft.Slice(0).Set(0x00080008, "CS", `ORIGINAL\PRIMARY\LOCALIZER`) // has the first number
	cautioned(t, only(t, folder(append(craft.Stack(6)[1:], scout)...)))
}

// An entry whose directory says that it is empty, or shorter than it is.
func TestZipDirectoryWithAFalseSizeIsCautionedOrRefused(t *testing.T) {
	for _, method := range []uint16{zip.Store, zip.Deflate} {
		for _, size := range []uint32{0, 100, 300} {
			data, err := craft.Zip(method, "IM", craft.Stack(6), nil)
			if err != nil {
				t.Fatal(err)
			}
			at := bytes.LastIndex(data, []byte("PK\x01\x02"))
			for _, field := range [][2]int{{24, 1}, {20, map[uint16]int{zip.Store: 1, zip.Deflate: 0}[method]}} {
				if field[1] == 1 {
					copy(data[at+field[0]:], []byte{byte(size), byte(size >> 8), 0, 0})
				}
			}
			input, err := newZipDoor(bytes.NewReader(data), int64(len(data)), "scan.zip", Limits{}.withDefaults(1))
			if err != nil {
				t.Fatal(err)
			}
			cat, err := Scan(t.Context(), input, Limits{})
			if err != nil {
				t.Fatal(err)
			}
			s, err := cat.Pick("")
			if err != nil {
				t.Fatal(err)
			}
			if s.Verdict() == Fit {
				t.Errorf("method %d, size %d: fit with %d slices and no caution", method, size, len(s.Images))
			}
		}
	}
}

func TestUnreadableFilesAreCountedWhateverTheReason(t *testing.T) {
	cat := &Catalogue{Passed: []Passed{{"unreadable: permission denied", 40, "IM9"}, {"not DICOM", 3, "x"}, {"unreadable: input/output error", 5, "IM7"}}}
	says(t, cat.unreadable(), "45 file(s)", "IM7")
}
