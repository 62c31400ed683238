// Package walk reads the structure of a DICOM file before anything believes it.
//
// A file's bytes flow in; out flow the few attributes that the reader uses, re-encoded so that no parser can be led
// astray ([File.Sieved]), and where the pixels lie. The walk looks at tags and lengths only, holds every length against
// the real size of the file, stops at Pixel Data, and never allocates what a file merely claims:
//
//	nesting            at most 32 levels
//	elements           at most 2,000,000 looked at, 250,000 kept
//	one kept value     at most 4 KiB; a longer one is passed over
//	all kept values    at most 8 MiB; the first of several of one tag
//	fragments          at most 65,536
//	before the pixels  at most 64 MiB of what must be inflated to be passed over
//
// So the errors a recover cannot catch (stack overflow, out of memory) cannot arise from a file. Lengths are signed
// 64-bit throughout: nothing wraps.
//
// Source: DICOM PS3.5 7 (data elements, nesting), A.4 (encapsulation), PS3.10 7.1 (File Meta Information).
package walk

import (
	"compress/flate"
	"fmt"
	"io"
)

// Bounds of a walk; see the package comment.
const (
	maxDepth     = 32
	maxElements  = 2_000_000
	maxKept      = 250_000
	maxKeptBytes = 8 << 20
	maxValue     = 4 << 10
	maxFragments = 1 << 16
	maxHeader    = 64 << 20 // inflated, before the pixels: nothing real comes near
)

const undefined = 0xFFFFFFFF // value length of an element that a delimiter ends

// Source is a file as the walk needs it.
type Source struct {
	R        io.Reader   // the bytes from the start
	At       io.ReaderAt // the same bytes by offset; nil when they can only be read in order
	Size     int64       // bytes, real
	Inflated int64       // bytes a deflated data set may grow to
}

// File is what a walk found.
type File struct {
	DICM      bool   // the marker after the preamble is there
	Class     string // MediaStorageSOPClassUID of the meta group
	Syntax    string // TransferSyntaxUID; inferred when the file does not say, see Inferred
	Inferred  bool   // no TransferSyntaxUID: Syntax was told from the encoding of the data set
	BigEndian bool
	Deflated  int64  // offset in the file of the deflated data set; 0: not deflated
	Sieved    []byte // the wanted attributes as a complete Explicit VR Little Endian file, meta group included
	Pixels    Pixels
}

// Pixels says where Pixel Data lies.
type Pixels struct {
	Found        bool
	Float        bool       // (7FE0,0008) or (7FE0,0009) instead
	Words        bool       // VR OW
	Encapsulated bool       // length undefined: fragments
	Offset       int64      // of the value; in the inflated stream when the data set is deflated
	Length       int64      // of a native value
	Fragments    []Fragment // of an encapsulated value, offset table left out
	Basic        []uint32   // Basic Offset Table, as found
	Extended     []uint64   // Extended Offset Table, as found
}

// Fragment is one item of encapsulated Pixel Data.
type Fragment struct {
	Offset int64 // of the item's value
	Length int64 // of the item's value
	Item   int64 // offset of the item's tag from the first fragment's tag: what offset tables count
}

// Error says where a file's structure breaks, and how.
type Error struct {
	Offset  int64  // in the file (in the inflated stream when deflated)
	Tag     uint32 // the element, group in the high half; 0: none
	What    string
	Missing int64 // bytes that the file would have to have more, when it ends early
}

// Error gives tag, place and what is wrong.
func (e *Error) Error() string {
	at := fmt.Sprintf("at byte %d", e.Offset)
	if e.Tag != 0 {
		at = fmt.Sprintf("(%04X,%04X) at byte %d", e.Tag>>16, e.Tag&0xFFFF, e.Offset)
	}
	return at + ": " + e.What
}

// Walk walks a file up to its Pixel Data, and through the fragments of an encapsulated one.
//
// With an error of type [*Error] the File still holds what was found before the break. An error of the reader itself is
// returned as it is. File.DICM false together with an error means: most likely not DICOM at all.
func Walk(src Source) (*File, error) {
	w := &walker{c: newCursor(src), file: &File{}}
	err := w.start(src)
	if err == nil {
		_, err = w.dataset(level{bigEndian: w.file.BigEndian, implicit: w.implicit, keep: true, seen: new(marks)}, w.c.size)
	}
	w.file.Sieved = w.out.file()
	return w.file, err
}

type walker struct {
	c        *cursor
	file     *File
	out      sieve
	implicit bool
	elements int
}

// level is how the data set around an element is encoded, and whether its elements are wanted.
type level struct {
	depth               int
	implicit, bigEndian bool
	keep                bool
	seen                *marks // the attributes already kept
	fragments           bool   // of pixels, which may be large
}

// start reads preamble and meta group, and settles the encoding of the data set.
func (w *walker) start(src Source) error {
	if head, err := w.c.peek(132); err == nil && string(head[128:]) == "DICM" {
		w.file.DICM = true
		if err := w.c.skip(132); err != nil {
			return err
		}
	}
	if err := w.meta(); err != nil {
		return err
	}
	if w.file.Syntax == Deflated {
		w.file.Deflated = w.c.off
		w.c = newCursor(Source{R: flate.NewReader(w.c.reader()), Size: src.Inflated})
		w.c.open = true
	}
	return w.settle()
}

// meta reads group 2 by its group number: its stated length may be missing or wrong.
func (w *walker) meta() error {
	for {
		head, err := w.c.peek(6)
		if err != nil || head[0] != 2 || head[1] != 0 {
			return nil // the data set, or its absence, is judged next
		}
		lv := level{implicit: !isVR(head[4:6]), keep: true}
		el, err := w.element(lv, w.c.size)
		if err != nil {
			return err
		}
		switch {
		case el.length == undefined:
			return w.broken(el, "length undefined in the File Meta group")
		case el.tag == tagSyntax:
			w.file.Syntax, err = w.text(el)
		case el.tag == tagClass:
			w.file.Class, err = w.text(el)
		default:
			err = w.c.skip(int64(el.length))
		}
		if err != nil {
			return w.lost(el, err)
		}
	}
}

// settle tells how the data set is encoded from its first element, and holds that against the transfer syntax.
func (w *walker) settle() error {
	head, err := w.c.peek(8)
	if err != nil {
		return &Error{Offset: w.c.off, What: "the file ends before its data set", Missing: 8}
	}
	little := head[1] == 0 && head[0] != 0
	big := head[0] == 0 && head[1] != 0
	explicit := isVR(head[4:6])
	if !little && !big {
		return &Error{Offset: w.c.off, What: "no data element where the data set should begin"}
	}
	w.implicit, w.file.BigEndian = !explicit, big && explicit
	want, known := encodings[w.file.Syntax]
	switch {
	case w.file.Syntax == "":
		w.file.Inferred = true
		w.file.Syntax = infer(explicit, big)
	case known && (want.implicit != w.implicit || want.bigEndian != w.file.BigEndian):
		return &Error{Offset: w.c.off, What: "the data set is encoded as " + Name(infer(explicit, big)) +
			", the File Meta group declares " + Name(w.file.Syntax)}
	}
	return nil
}

// dataset walks elements up to offset end, or to the delimiter of an item, and says which. At the top level it ends at
// Pixel Data.
func (w *walker) dataset(lv level, end int64) (delimited bool, err error) {
	for w.c.off < end && !w.c.atEOF() {
		el, err := w.element(lv, end)
		if err != nil {
			return false, err
		}
		done := false
		switch {
		case el.tag == tagItemEnd && lv.depth > 0:
			return true, nil
		case el.tag == tagPadding && lv.depth == 0:
			return false, nil
		case el.tag>>16 == 0xFFFE:
			err = w.broken(el, "a delimiter where an element should be")
		case lv.depth == 0 && el.tag>>16 == 0x7FE0:
			done, err = w.pixels(el)
		default:
			err = w.value(el, lv, end)
		}
		if done || err != nil {
			return false, err
		}
	}
	return false, nil
}

// wants returns what is wanted of an attribute, once at each level.
func (lv level) wants(tag uint32) (want attribute, wanted bool) {
	want, wanted = attributes[tag]
	wanted = wanted && lv.keep && !lv.seen.has(want)
	if wanted {
		lv.seen.add(want)
	}
	return want, wanted
}

// isBytes reports whether a VR is of plain bytes or words, which come in fragments where their length is not given.
func isBytes(vr string) bool { return vr == "OB" || vr == "OW" }

// kept reports whether a wanted value is looked at: one of any length that it may have, and none that may be empty.
func kept(el element) bool {
	return el.length <= maxValue && (el.length > 0 || !mayBeEmpty[el.tag])
}

// value passes over one value, keeping it when wanted.
func (w *walker) value(el element, lv level, end int64) error {
	want, wanted := lv.wants(el.tag)
	open, inner := el.length == undefined, wanted && want.vr == "SQ"
	sequence := el.vr == "SQ" || open || inner
	switch {
	case wanted && !inner && sequence:
		return w.broken(el, "a sequence where a value should be")
	case open && isBytes(el.vr):
		return w.fragments(el, nil)
	case sequence && (open || wanted):
		return w.sequence(el, lv, end, wanted)
	case wanted && kept(el):
		return w.keep(el, want.vr, lv.bigEndian && el.vr != "UN")
	}
	return w.pass(el)
}

// sequence walks the items of a sequence.
func (w *walker) sequence(el element, lv level, end int64, keep bool) error {
	if lv.depth++; lv.depth > maxDepth {
		return w.broken(el, fmt.Sprintf("sequences nested deeper than %d", maxDepth))
	}
	if el.vr == "UN" { // PS3.5 6.2.2: the content of such a value is Implicit VR Little Endian
		lv.implicit, lv.bigEndian = true, false
	}
	lv.keep = keep
	if keep {
		defer w.out.close(w.out.open(el.tag))
	}
	if el.length != undefined {
		end = w.c.off + int64(el.length)
	}
	for el.length == undefined || w.c.off < end {
		item, err := w.element(lv, end)
		if err != nil {
			return err
		}
		if item.tag == tagSequenceEnd && el.length == undefined {
			return nil
		}
		if item.tag != tagItem {
			return w.broken(item, "not an item inside a sequence")
		}
		if err := w.item(item, lv, end); err != nil {
			return err
		}
	}
	return nil
}

// item walks, or skips, one item of a sequence.
func (w *walker) item(item element, lv level, end int64) error {
	if !lv.keep && item.length != undefined {
		if err := w.c.skip(int64(item.length)); err != nil {
			return w.lost(item, err)
		}
		return nil
	}
	if lv.keep {
		if !w.out.room() {
			return w.broken(item, "more items than are read")
		}
		defer w.out.close(w.out.open(tagItem))
		lv.seen = new(marks)
	}
	if item.length != undefined {
		end = w.c.off + int64(item.length)
	}
	delimited, err := w.dataset(lv, end)
	switch {
	case err != nil:
		return err
	case delimited != (item.length == undefined):
		return w.broken(item, "the item does not end where it says")
	}
	return nil
}
