package dicomio

import "fmt"

// padding is the range of stored values that mean "outside the field", both ends included.
//
// Source: DICOM PS3.3 C.7.5.1.1.2.
type padding struct{ low, high int16 }

// padding returns the range of src in stored values of the volume; ok is false when it has none.
func (src *source) padding() (r padding, ok bool) {
	p := src.pixels
	c := newCells(p)
	if p.padding == nil || !c.holds(*p.padding) {
		return r, false
	}
	r.low = c.one(*p.padding)
	r.high = r.low
	if p.paddingLimit != nil && c.holds(*p.paddingLimit) {
		r.high = c.one(*p.paddingLimit)
	}
	return padding{min(r.low, r.high), max(r.low, r.high)}, true
}

// judgePadding chooses the one stored value that marks a voxel without value, and notes which files need theirs mapped
// to it.
func (s *Series) judgePadding() {
	if len(s.Problems) > 0 { // the pixel format may make no sense
		return
	}
	ranges, common, same := s.paddings()
	switch {
	case len(ranges) == 0:
		return
	case same:
		s.blank = &common.low
		if common.low == common.high {
			return
		}
	case s.allBits():
		s.problem(&SeriesError{Code: "mixed", Attribute: "PixelPaddingValue", Problem: "differs between slices that use all 16 bits: no value is free to mark the outside of the field",
			Remedy: "export the series again"})
		return
	default: // fewer than 16 bits are stored: this value is free
		free := int16(-32768)
		s.blank = &free
	}
	s.remap = ranges
}

// paddings returns the padding of each file that has one, one of them, and whether every file has that one.
func (s *Series) paddings() (ranges map[*source]padding, common padding, same bool) {
	ranges, same = map[*source]padding{}, true
	for i, src := range s.sources(false) {
		r, ok := src.padding()
		if !ok && src.pixels.padding != nil {
			s.caution("padding_unused", fmt.Sprintf("PixelPaddingValue does not fit the %d bits stored and marks nothing", src.pixels.stored))
		}
		if ok {
			ranges[src] = r
		}
		if i == 0 {
			common = r
		}
		same = same && ok && r == common
	}
	return ranges, common, same
}

// allBits reports whether a file uses all 16 bits, so that no stored value is free.
func (s *Series) allBits() bool {
	for _, src := range s.sources(false) {
		if src.pixels.stored == 16 {
			return true
		}
	}
	return false
}

// mark sets the values of r to blank.
func mark(dst []int16, r padding, blank int16) {
	for i, v := range dst {
		if v >= r.low && v <= r.high {
			dst[i] = blank
		}
	}
}
