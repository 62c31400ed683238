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
	if p.padding == nil || !c.holds(*p.padding, p.signed) {
		return r, false
	}
	r.low = c.one(*p.padding)
	r.high = r.low
	if p.paddingLimit != nil && c.holds(*p.paddingLimit, p.signed) {
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
	ranges := map[padding]int{}
	sources := s.sources(false)
	wide, with := false, 0
	var any padding
	for _, src := range sources {
		wide = wide || src.pixels.stored == 16
		r, ok := src.padding()
		if ok {
			with++
			ranges[r]++
			any = r
		} else if src.pixels.padding != nil {
			s.caution("padding_unused", fmt.Sprintf("PixelPaddingValue does not fit the %d bits stored and marks nothing", src.pixels.stored))
		}
	}
	same := len(ranges) == 1 && with == len(sources)
	switch {
	case with == 0:
		return
	case same && any.low == any.high:
		s.blank = &any.low
		return
	case same:
		s.blank = &any.low
	case wide:
		s.problem(&SeriesError{Code: "mixed", Attribute: "PixelPaddingValue", Problem: "differs between slices that use all 16 bits: no value is free to mark the outside of the field",
			Remedy: "export the series again"})
		return
	default: // fewer than 16 bits are stored: this value is free
		free := int16(-32768)
		s.blank = &free
	}
	s.remap = map[*source]padding{}
	for _, src := range sources {
		if r, ok := src.padding(); ok {
			s.remap[src] = r
		}
	}
}

// mark sets the values of r to blank.
func mark(dst []int16, r padding, blank int16) {
	for i, v := range dst {
		if v >= r.low && v <= r.high {
			dst[i] = blank
		}
	}
}
