package dicomio

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/internal/walk"
)

// The rows of the table of tricky series that concern damaged and hostile files.

func TestRow29PixelDataTooShort(t *testing.T) {
	whole := craft.Slice(4).Bytes()
	for _, cut := range []int{1, 2, 30, 59, 60} {
		fsys := folder(craft.Stack(4)...)
		add(fsys, "IM9001.dcm", whole[:len(whole)-cut])
		refused(t, fsys, "truncated", "IM9001.dcm", fmt.Sprintf("%d bytes are missing", cut))
	}
	short := craft.Slice(4)
	short.Pixels = short.Pixels[:20]
	fsys := folder(craft.Stack(4)...)
	add(fsys, "IM9005.dcm", short.Bytes())
	refused(t, fsys, "truncated", "IM9005.dcm", "20 bytes are missing", "need 60 bytes")
}

// A file cut anywhere, the last slice of a stack so that no gap gives it away, is never read as whole.
func TestRow29CutAtEveryByte(t *testing.T) {
	for _, syntax := range []string{walk.Explicit, walk.Implicit, walk.BigEndian, walk.Deflated} {
		last := craft.Slice(4)
		last.Syntax = syntax
		whole := last.Bytes()
		fsys := folder(craft.Stack(4)...)
		for cut := 132; cut < len(whole); cut++ {
			add(fsys, "IM9001.dcm", whole[:cut])
			cat, err := scanned(t, fsys)
			if err != nil {
				t.Fatal(err)
			}
			s, err := cat.Pick("")
			if err != nil {
				t.Fatal(err)
			}
			v, err := s.Read(t.Context(), nil)
			if err == nil {
				t.Fatalf("%s cut at %d of %d: read %v", walk.Name(syntax), cut, len(whole), v.Size)
			}
			says(t, err.Error(), "IM9001.dcm")
		}
	}
}

func TestRow30TrailingPaddingAndGarbage(t *testing.T) {
	for _, tail := range [][]byte{
		append([]byte{0xFC, 0xFF, 0xFC, 0xFF, 'O', 'B', 0, 0, 8, 0, 0, 0}, make([]byte, 8)...), make([]byte, 700), []byte("garbage \xFF\xFE\x00"), {0},
	} {
		files := craft.Stack(4)
		for _, c := range files {
			c.Tail = tail
		}
		s, v := readOnly(t, folder(files...))
		sameStack(t, v, 4)
		cautioned(t, s)
	}
	files := craft.Stack(4) // longer Pixel Data
	for _, c := range files {
		c.Pixels = append(c.Pixels, 1, 2, 3)
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	cautioned(t, s, "extra_pixels")
}

func TestRow33LengthsThatLie(t *testing.T) {
	base := craft.Slice(0)
	whole := base.Bytes()
	at := bytes.Index(whole, []byte{0x10, 0, 0x10, 0, 'P', 'N'})
	with := func(b []byte) []byte { return slices.Concat(whole[:at], b, whole[at:]) }
	nest := func(depth int) []byte {
		var b []byte
		for range depth {
			b = craft.AppendHead(b, walk.Explicit, 0x00091010, "SQ", 0xFFFFFFFF)
			b = craft.AppendHead(b, walk.Implicit, 0xFFFEE000, "", 0xFFFFFFFF)
		}
		return b
	}
	for name, data := range map[string][]byte{
		"OB of 4 GiB":         with(craft.AppendHead(nil, walk.Explicit, 0x00091010, "OB", 0xFFFFFFFE)),
		"UN of 4 GiB":         with(craft.AppendHead(nil, walk.Explicit, 0x00091010, "UN", 0xFFFFFFFE)),
		"UT of 4 GiB":         with(craft.AppendHead(nil, walk.Explicit, 0x00091010, "UT", 0xFFFFFFF0)),
		"UT undefined":        with(craft.AppendHead(nil, walk.Explicit, 0x00091010, "UT", 0xFFFFFFFF)),
		"nest of 33":          with(nest(33)),
		"nest of 500,000":     with(nest(500_000)),
		"item without end":    with(nest(1)),
		"no item":             with(append(craft.AppendHead(nil, walk.Explicit, 0x00091010, "SQ", 0xFFFFFFFF), whole[at:]...)),
		"delimiter of length": with(craft.AppendHead(craft.AppendHead(nil, walk.Explicit, 0x00091010, "SQ", 0xFFFFFFFF), walk.Implicit, 0xFFFEE0DD, "", 8)),
		"stray delimiter":     with(craft.AppendHead(nil, walk.Implicit, 0xFFFEE00D, "", 0)),
	} {
		fsys := folder()
		add(fsys, "IM9002.dcm", data)
		frugal(t, name, len(data), func() {
			_, err := scanned(t, fsys)
			e, ours := err.(*SeriesError)
			if !ours {
				t.Fatalf("%s: %v, want a *SeriesError", name, err)
			}
			says(t, e.Error(), "IM9002.dcm")
		})
	}
}

// Every panic and memory bomb found in the parser, by its trigger: each is refused by us, or harmless.
func TestRow33ParserTraps(t *testing.T) {
	for name, change := range map[string]func(*craft.File){
		"Rows of length 0":            func(c *craft.File) { c.Raw(0x00280010, "US", nil) },
		"Rows as LO":                  func(c *craft.File) { c.Set(0x00280010, "LO", "5") },
		"Rows 0":                      func(c *craft.File) { c.US(0x00280010, 0) },
		"Rows and Columns 65535":      func(c *craft.File) { c.US(0x00280010, 65535).US(0x00280011, 65535) },
		"frames -1":                   func(c *craft.File) { c.Set(0x00280008, "IS", "-1") },
		"frames as US":                func(c *craft.File) { c.US(0x00280008, 9) },
		"frames 4e18":                 func(c *craft.File) { c.Set(0x00280008, "IS", "4000000000000000000") },
		"frames 2147483649":           func(c *craft.File) { c.Set(0x00280008, "IS", "2147483649") },
		"frames 1e9, rows 0":          func(c *craft.File) { c.Set(0x00280008, "IS", "1000000000").US(0x00280010, 0) },
		"frames 60000":                func(c *craft.File) { c.Set(0x00280008, "IS", "60000") },
		"charset as US":               func(c *craft.File) { c.US(0x00080005, 7).US(0x00280010, 0) },
		"empty transfer syntax":       func(c *craft.File) { c.Syntax = ""; c.US(0x00280010, 0) },
		"BitsAllocated of two values": func(c *craft.File) { c.Raw(0x00280100, "US", []byte{16, 0, 16, 0}) },
		"fragments end in the file":   func(c *craft.File) { c.Syntax = walk.RLE; c.Fragments = [][]byte{make([]byte, 64)}; c.Tail = nil },
		"PixelRepresentation 9":       func(c *craft.File) { c.US(0x00280103, 9) },
		"shared groups no sequence":   func(c *craft.File) { c.Set(0x52009229, "LO", "x").US(0x00280010, 0) },
		"position as sequence":        func(c *craft.File) { c.Sequence(0x00200032, craft.Group(0x00080060, "CS", "CT")) },
	} {
		files := craft.Stack(4)
		for _, c := range files {
			change(c)
		}
		frugal(t, name, 4*1000, func() {
			cat, err := scanned(t, folder(files...))
			if err == nil {
				var s *Series
				if s, err = cat.Pick(""); err == nil {
					_, err = s.Read(t.Context(), nil)
				}
			}
			if _, ours := err.(*SeriesError); !ours {
				t.Errorf("%s: %v, want a *SeriesError", name, err)
			}
		})
	}
}

// A deflated data set of 4 MB that inflates to 4 GB is refused without being inflated to its end.
func TestRow33DeflateBomb(t *testing.T) {
	c := craft.Slice(0)
	c.Syntax = walk.Deflated
	head := c.Bytes()
	head = head[:bytes.Index(head, []byte(walk.Deflated))+len(walk.Deflated)]
	var z bytes.Buffer
	w, _ := flate.NewWriter(&z, flate.BestSpeed)
	w.Write(craft.AppendHead(nil, walk.Explicit, 0x00091010, "OB", 0xF0000000))
	chunk := make([]byte, 1<<20)
	for range 80 {
		w.Write(chunk)
	}
	w.Close()
	fsys := folder()
	add(fsys, "IM9006.dcm", append(head, z.Bytes()...))
	frugal(t, "bomb", z.Len(), func() {
		_, err := scanned(t, fsys)
		if e, ours := err.(*SeriesError); !ours || !strings.Contains(e.Error(), "IM9006.dcm") {
			t.Errorf("got %v", err)
		}
	})
}

// Compressed frames that claim 8 GB of pixels from a few bytes are refused before any memory is taken.
func TestRow33CompressedFramesThatLie(t *testing.T) {
	for _, syntax := range []string{walk.RLE, walk.JPEGSV1, walk.JPEGLS, walk.JPEG2000, walk.JPEGBaseline} {
		files := craft.Stack(3)
		for _, c := range files {
			c.Syntax, c.Fragments = syntax, [][]byte{craft.RLEFrame(c.Pixels)}
			c.US(0x00280010, 65535).US(0x00280011, 65535)
		}
		frugal(t, syntax, 3000, func() { refused(t, folder(files...), "limit", "claim to decode to") })
		for _, c := range files { // within the limit, and still a lie
			c.US(0x00280010, 5000).US(0x00280011, 5000)
		}
		s := only(t, folder(files...))
		if _, err := s.Read(t.Context(), nil); err == nil {
			t.Errorf("%s: a lying frame was read", walk.Name(syntax))
		}
	}
}

func TestRow43MemoryIsAskedForFirst(t *testing.T) {
	s := only(t, folder(craft.Stack(4)...))
	s.Grid.Size = [3]int{1 << 16, 1 << 16, 1 << 16}
	_, err := s.Read(t.Context(), nil)
	e, ours := err.(*SeriesError)
	if freeMemory() == 0 {
		t.Skip("free memory is not known on this system")
	}
	if !ours || e.Code != "memory" {
		t.Fatalf("got %v", err)
	}
	says(t, e.Error(), "MiB of memory", "MiB are free")
	input, _ := NewInput(folder(craft.Stack(4)...), Limits{})
	cat, err := Scan(t.Context(), input, Limits{Volume: 100})
	if err != nil {
		t.Fatal(err)
	}
	says(t, cat.Series[0].Err().Error(), "allowed")
}

// Each file within what one may grow to, and all together a bomb: 40 slices of 400 × 400 zeros, deflated, under a limit of
// 1 MiB.
func TestRow33ManySmallBombs(t *testing.T) {
	var files []*craft.File
	for k := range 40 {
		c := craft.Slice(k).US(0x00280010, 400).US(0x00280011, 400)
		c.Syntax, c.Pixels = walk.Deflated, make([]uint16, 400*400)
		files = append(files, c)
	}
	input, err := NewInput(folder(files...), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	cat, err := Scan(t.Context(), input, Limits{Inflated: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	if s := cat.Series[0]; !s.hasProblem("limit", "") {
		t.Errorf("problems %v", s.Problems)
	}
}

// Files that are wrong in the same way make one problem, which counts them.
func TestRow29FilesWrongInOneWayAreCounted(t *testing.T) {
	fsys := folder(craft.Stack(50)...)
	for name, f := range fsys {
		if name != "03" { // all but one
			cut := *f
			cut.Data = f.Data[:len(f.Data)-20]
			fsys[name] = &cut
		}
	}
	e := refused(t, fsys, "truncated", "20 bytes are missing (and 48 more file(s))")
	if n := strings.Count(e.Error(), "more file(s)"); n != 1 {
		t.Errorf("%d counts in %q", n, e)
	}
	data, err := craft.Zip(zip.Deflate, "", craft.Stack(50), nil)
	if err != nil {
		t.Fatal(err)
	}
	for at, n := 0, 0; n < 45; n++ { // the sums that the directory holds. Source: APPNOTE.TXT 4.3.12
		at += bytes.Index(data[at:], []byte("PK\x01\x02")) + 4
		data[at+12] ^= 1
	}
	input, err := newZipDoor(bytes.NewReader(data), int64(len(data)), "x.zip", Limits{}.withDefaults(1))
	if err != nil {
		t.Fatal(err)
	}
	cat, err := Scan(t.Context(), input, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	says(t, cat.Series[0].Err().Error(), "checksum", "(and 44 more file(s))")
}

// Each limit is refused by its name, which is the name of the command's flag too.
func TestRow33LimitsAreNamed(t *testing.T) {
	dir := t.TempDir()
	for k, c := range craft.Stack(6) {
		os.WriteFile(filepath.Join(dir, fmt.Sprint(k)), c.Bytes(), 0o600)
	}
	path := archive(t, zip.Deflate, "", craft.Stack(6), nil)
	for _, c := range []struct {
		path, word string
		limits     Limits
	}{
		{dir, "max-files", Limits{Files: 5}}, {path, "max-files", Limits{Files: 5}}, {dir, "max-volume", Limits{Volume: 359}},
	} {
		input, err := Open(c.path, c.limits)
		if err == nil {
			var cat *Catalogue
			if cat, err = Scan(t.Context(), input, c.limits); err == nil {
				err = cat.Series[0].Err()
			}
			input.Close()
		}
		if e, ok := err.(*SeriesError); !ok || e.Code != "limit" {
			t.Fatalf("%v, want a limit", err)
		}
		says(t, err.Error(), "raise the limit "+c.word)
	}
}

func TestRow44EmptyPathIsNotTheCurrentFolder(t *testing.T) {
	if _, err := Open("", Limits{}); !errors.Is(err, ErrPath) {
		t.Errorf("got %v", err)
	}
}

// A size that is not known is not 0, and the distance between the slices of one slice is none.
func TestUnknownDimensionsAreUnknown(t *testing.T) {
	for name, c := range map[string]struct {
		files []*craft.File
		want  string
	}{
		"whole":      {craft.Stack(4), "6 × 5 × 4 voxels of 0.4 × 0.3 × 0.4 mm"},
		"one slice":  {craft.Stack(1), "6 × 5 × 1 voxels of 0.4 × 0.3 × unknown mm"},
		"no place":   {[]*craft.File{craft.Slice(0).Drop(0x00200032)}, "6 × 5 × 1 voxels of unknown × unknown × unknown mm"},
		"no rows":    {[]*craft.File{craft.Slice(0).Drop(0x00280010)}, "6 × unknown × 1 voxels of 0.4 × 0.3 × unknown mm"},
		"no spacing": {[]*craft.File{craft.Slice(0).Drop(0x00280030)}, "6 × 5 × 1 voxels of unknown × unknown × unknown mm"},
		"nonsense":   {[]*craft.File{craft.Slice(0).Set(0x00280030, "DS", `0\0`)}, "6 × 5 × 1 voxels of unknown × unknown × unknown mm"},
	} {
		if got := only(t, folder(c.files...)).Dimensions(); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}
