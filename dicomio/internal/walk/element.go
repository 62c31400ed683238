package walk

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// element is the head of a data element; the cursor stands at its value.
type element struct {
	tag    uint32
	vr     string // empty: implicit, or an item
	length uint32
	at     int64 // offset of the tag
}

// element reads a head and holds its length against end, the end of what surrounds it.
func (w *walker) element(lv level, end int64) (element, error) {
	el := element{at: w.c.off}
	if w.elements++; w.elements > maxElements {
		return el, w.broken(el, fmt.Sprintf("more than %d elements", maxElements))
	}
	head, err := w.c.peek(8)
	if err != nil {
		return el, w.lost(el, err)
	}
	var order binary.ByteOrder = binary.LittleEndian
	if lv.bigEndian {
		order = binary.BigEndian
	}
	el.tag = uint32(order.Uint16(head))<<16 | uint32(order.Uint16(head[2:]))
	size := int64(8)
	switch {
	case lv.implicit || el.tag>>16 == 0xFFFE, lv.depth > 0 && !isVR(head[4:6]): // some write private sequences implicit everywhere
		el.length = order.Uint32(head[4:])
	case !isVR(head[4:6]):
		return el, w.broken(el, "no value representation")
	case short[string(head[4:6])]:
		el.vr = string(head[4:6])
		el.length = uint32(order.Uint16(head[6:]))
	default: // PS3.5 7.1.2: the others, unknown ones included, have two reserved bytes and a 32-bit length
		el.vr = string(head[4:6])
		if head, err = w.c.peek(12); err != nil {
			return el, w.lost(el, err)
		}
		el.length, size = order.Uint32(head[8:]), 12
	}
	if err := w.c.skip(size); err != nil {
		return el, w.lost(el, err)
	}
	return el, w.fits(el, lv, end)
}

// openVRs are those whose length may be undefined; "" is an element of implicit VR.
var openVRs = []string{"", "SQ", "UN", "OB", "OW"}

// fits returns an error when the value cannot lie before end.
func (w *walker) fits(el element, lv level, end int64) error {
	delimiter := el.tag == tagItemEnd || el.tag == tagSequenceEnd
	switch {
	case delimiter:
		if el.length != 0 {
			return w.broken(el, fmt.Sprintf("a delimiter of length %d", el.length))
		}
	case el.length == undefined:
		if !slices.Contains(openVRs, el.vr) {
			return w.broken(el, "length undefined in VR "+el.vr)
		}
	case lv.depth == 0 && (el.tag == tagPixels || el.tag == tagPadding): // judged by the caller
	case w.c.at == nil && !lv.fragments && w.c.off+int64(el.length) > maxHeader:
		return w.broken(el, fmt.Sprintf("more than %d MiB before the pixels of compressed data", maxHeader>>20))
	case w.c.off+int64(el.length) > end:
		e := w.broken(el, fmt.Sprintf("length %d, %d bytes are left", el.length, max(0, end-w.c.off)))
		if end == w.c.size {
			e.Missing = w.c.off + int64(el.length) - end
		}
		return e
	}
	return nil
}

// broken makes an error about el.
func (w *walker) broken(el element, what string) *Error {
	return &Error{Offset: el.at, Tag: el.tag, What: what}
}

// lost turns the cursor's error into one about el: the file ended, or could not be read.
func (w *walker) lost(el element, err error) error {
	if !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		var ours *Error
		if errors.As(err, &ours) || !w.c.open {
			return err
		}
		return w.broken(el, "the deflated data is corrupt")
	}
	e := w.broken(el, "the file ends inside this element")
	e.Missing = max(1, el.at+8-w.c.size)
	return e
}

// keep copies a wanted value into the sieve, as VR vr, little endian.
func (w *walker) keep(el element, vr string, bigEndian bool) error {
	width := binaryWidth[vr]
	if width > 0 {
		if err := w.binary(el, vr, width); err != nil {
			return err
		}
	}
	if !w.out.room() {
		return w.broken(el, "more attributes than are read")
	}
	value, err := w.c.take(int(el.length))
	if err != nil {
		return w.lost(el, err)
	}
	if bigEndian && width > 1 {
		for i := 0; i+width <= len(value); i += width {
			reverse(value[i : i+width])
		}
	}
	w.out.add(el.tag, vr, value)
	return nil
}

// binary returns an error when el is no value, or whole number of values, of so many bytes each.
func (w *walker) binary(el element, vr string, width int) error {
	switch {
	case el.vr != "" && el.vr != "UN" && binaryWidth[el.vr] != width:
		return w.broken(el, "VR "+el.vr+" where "+vr+" belongs")
	case int(el.length)%width != 0, el.length == 0 && vr == "US", single[el.tag] && int(el.length) != width:
		return w.broken(el, fmt.Sprintf("length %d, want %d", el.length, width))
	}
	return nil
}

// text reads a short string value.
func (w *walker) text(el element) (string, error) {
	if el.length > 1024 {
		return "", w.broken(el, fmt.Sprintf("a value of %d bytes", el.length))
	}
	value, err := w.c.take(int(el.length))
	return strings.Trim(string(value), " \x00"), err
}

func reverse(b []byte) {
	for i, j := 0, len(b)-1; i < j; i, j = i+1, j-1 {
		b[i], b[j] = b[j], b[i]
	}
}

// isVR reports whether b looks like a value representation: two upper-case letters.
func isVR(b []byte) bool {
	return b[0] >= 'A' && b[0] <= 'Z' && b[1] >= 'A' && b[1] <= 'Z'
}
