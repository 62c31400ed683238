package walk

import (
	"encoding/binary"
	"fmt"
	"io"
)

// pixels handles an element of group 7FE0 at the top level; done when it was the pixels themselves.
func (w *walker) pixels(el element) (done bool, err error) {
	px := &w.file.Pixels
	switch el.tag {
	case 0x7FE00001:
		px.Extended, err = w.offsets(el)
		return false, err
	case 0x7FE00008, 0x7FE00009:
		px.Found, px.Float = true, true
		return true, nil
	case tagPixels:
		px.Found, px.Words, px.Offset, px.Length = true, el.vr == "OW", w.c.off, int64(el.length)
		if el.length != undefined {
			return true, w.drain(el)
		}
		px.Encapsulated, px.Length = true, 0
		return true, w.fragments(el, px)
	}
	if el.length == undefined {
		return false, w.broken(el, "length undefined")
	}
	if err := w.c.skip(int64(el.length)); err != nil {
		return false, w.lost(el, err)
	}
	return false, nil
}

// drain makes sure that a deflated stream, whose size nothing states, holds the pixels and ends well.
func (w *walker) drain(el element) error {
	if !w.c.open {
		return nil
	}
	if err := w.pass(el); err != nil {
		return err
	}
	if _, err := io.Copy(io.Discard, io.LimitReader(w.c.r, max(0, w.c.size-w.c.off))); err != nil {
		return w.lost(el, err)
	}
	return nil
}

// offsets reads an Extended Offset Table; one with more entries than fragments are read is passed over.
func (w *walker) offsets(el element) ([]uint64, error) {
	if el.length > 8*maxFragments {
		return nil, w.pass(el)
	}
	value, err := w.c.take(int(el.length))
	if err != nil {
		return nil, w.lost(el, err)
	}
	table := make([]uint64, len(value)/8)
	for i := range table {
		table[i] = binary.LittleEndian.Uint64(value[8*i:])
	}
	return table, nil
}

func (w *walker) pass(el element) error {
	if err := w.c.skip(int64(el.length)); err != nil {
		return w.lost(el, err)
	}
	return nil
}

// fragments walks the items of an encapsulated value to its delimiter, into px when it is not nil. The first item of
// Pixel Data is the Basic Offset Table.
func (w *walker) fragments(el element, px *Pixels) error {
	first := int64(-1)
	for n := 0; ; n++ {
		item, err := w.element(level{fragments: true}, w.c.size)
		switch {
		case err != nil:
			return err
		case item.tag == tagSequenceEnd:
			return nil
		case item.tag != tagItem || item.length == undefined:
			return w.broken(item, "not a fragment inside encapsulated data")
		case n > maxFragments:
			return w.broken(item, fmt.Sprintf("more than %d fragments", maxFragments))
		case px == nil:
		case n == 0 && item.length <= 4*maxFragments:
			if px.Basic, err = w.basic(item); err != nil {
				return err
			}
			continue
		case n > 0:
			if first < 0 {
				first = item.at
			}
			px.Fragments = append(px.Fragments, Fragment{w.c.off, int64(item.length), item.at - first})
			px.Length += int64(item.length)
		}
		if err := w.pass(item); err != nil {
			return err
		}
	}
}

// basic reads the Basic Offset Table.
func (w *walker) basic(item element) ([]uint32, error) {
	value, err := w.c.take(int(item.length))
	if err != nil {
		return nil, w.lost(item, err)
	}
	table := make([]uint32, len(value)/4)
	for i := range table {
		table[i] = binary.LittleEndian.Uint32(value[4*i:])
	}
	return table, nil
}
