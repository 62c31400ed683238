package dicomio

import (
	"fmt"
	"math"
	"testing"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/internal/walk"
)

// The rows of the table of tricky series that concern what the pixels mean.

func TestRow11NotOriginalSlices(t *testing.T) {
	for code, change := range map[string]func(*craft.File){
		"derived":           func(c *craft.File) { c.Set(0x00080008, "CS", `DERIVED\PRIMARY\MPR`) },
		"secondary_capture": func(c *craft.File) { c.Set(0x00080016, "UI", secondaryCapture) },
		"colour":            func(c *craft.File) { c.US(0x00280002, 3).Set(0x00280004, "CS", "RGB") },
		"burned_in":         func(c *craft.File) { c.Set(0x00280301, "CS", "YES") },
		"not_ct":            func(c *craft.File) { c.Set(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.4") },
	} {
		files := craft.Stack(4)
		for _, c := range files {
			change(c)
		}
		refused(t, folder(files...), code)
		fsys := folder(append(craft.Stack(5), func() *craft.File { c := craft.Slice(2); change(c); return c }())...)
		s, v := readOnly(t, fsys) // beside a stack it is listed, and does no harm
		sameStack(t, v, 5)
		cautioned(t, s)
		if cat, _ := scanned(t, fsys); len(cat.Series) != 2 {
			t.Errorf("%s: %d series listed, want 2", code, len(cat.Series))
		}
	}
}

// stored is one way cells hold values: the cell for a value, and the least and greatest value.
type stored struct {
	allocated, bits, high int
	signed                bool
	garbage               uint16 // set in every cell, outside the value
}

func (s stored) limits() (low, high int) {
	if s.signed {
		return -(1 << (s.bits - 1)), 1<<(s.bits-1) - 1
	}
	return 0, 1<<s.bits - 1
}

func (s stored) cell(v int) uint16 {
	shift := s.high + 1 - s.bits
	return uint16(v)&uint16(1<<s.bits-1)<<shift | s.garbage
}

// Closed form: grey = slope·value + intercept for every value written, whatever the cell looks like.
func TestRow19EveryWayToStoreAValue(t *testing.T) {
	for _, s := range []stored{
		{16, 16, 15, true, 0}, {16, 16, 15, false, 0}, {16, 12, 11, false, 0}, {16, 12, 11, true, 0}, {16, 15, 14, false, 0},
		{16, 12, 11, false, 0xF000}, {16, 12, 11, true, 0xA000}, {16, 12, 15, false, 0}, {16, 12, 15, true, 0x000F},
		{16, 10, 12, false, 0xE007}, {16, 1, 0, false, 0}, {8, 8, 7, false, 0}, {8, 8, 7, true, 0}, {8, 6, 5, false, 0xC0},
	} {
		for _, syntax := range []string{walk.Explicit, walk.BigEndian, walk.Implicit} {
			if s.allocated == 8 && syntax == walk.BigEndian {
				continue // refused, see below
			}
			low, high := s.limits()
			files := craft.Stack(3)
			want := make([][]float64, 3)
			for k, c := range files {
				c.Syntax, c.CellBytes = syntax, s.allocated/8
				c.US(0x00280100, uint16(s.allocated)).US(0x00280101, uint16(s.bits)).US(0x00280102, uint16(s.high))
				c.US(0x00280103, map[bool]uint16{true: 1}[s.signed]).Set(0x00281053, "DS", "0.5").Set(0x00281052, "DS", "-3")
				for i := range c.Pixels {
					v := low + (high-low)*(k*30+i)/89
					c.Pixels[i] = s.cell(v)
					want[k] = append(want[k], 0.5*float64(v)-3)
				}
			}
			series, v := readOnly(t, folder(files...))
			cautioned(t, series)
			for k := range 3 {
				for i := range 30 {
					if got := v.Grey(i%6, i/6, k); got != want[k][i] {
						t.Fatalf("%+v %s: grey value %d of slice %d = %v, want %v", s, syntax, i, k, got, want[k][i])
					}
				}
			}
		}
	}
}

func TestRow19ImpossibleCellsAreRefused(t *testing.T) {
	for _, s := range []stored{{32, 32, 31, false, 0}, {16, 17, 16, false, 0}, {16, 12, 10, false, 0}, {16, 12, 16, false, 0}, {1, 1, 0, false, 0}, {16, 0, 0, false, 0}} {
		files := craft.Stack(3)
		for _, c := range files {
			c.US(0x00280100, uint16(s.allocated)).US(0x00280101, uint16(s.bits)).US(0x00280102, uint16(s.high))
		}
		refused(t, folder(files...), "pixel_format", "Bits")
	}
	files := craft.Stack(3)
	for _, c := range files { // OW of 8-bit cells in Big Endian swaps them in pairs: retired, and refused rather than guessed
		c.Syntax, c.CellBytes = walk.BigEndian, 1
		c.US(0x00280100, 8).US(0x00280101, 8).US(0x00280102, 7)
	}
	refused(t, folder(files...), "pixel_format", "swapped pairs")
	files = craft.Stack(3)
	for _, c := range files {
		c.NoPixels = true
		c.Raw(0x7FE00008, "OF", make([]byte, 120))
	}
	refused(t, folder(files...), "pixel_format", "floating-point")
}

func TestRow20RescaleMissingOrVarying(t *testing.T) {
	files := craft.Stack(4)
	for _, c := range files {
		c.Drop(0x00281052, 0x00281053)
	}
	s, v := readOnly(t, folder(files...))
	cautioned(t, s)
	near(t, "grey value as stored", v.Grey(3, 1, 2), greyWant(2, 9)+1000, 0)
	for k, c := range files {
		c.Set(0x00281053, "DS", fmt.Sprint(1+2*k)).Set(0x00281052, "DS", fmt.Sprint(-k))
	}
	s, v = readOnly(t, folder(files...))
	cautioned(t, s, "rescale_varies")
	says(t, s.Cautions[0].Text, "more than 16 bit")
	for k := range 4 {
		near(t, "grey value", v.Grey(3, 1, k), float64(1+2*k)*(greyWant(k, 9)+1000)-float64(k), 0)
	}
	for _, slope := range []string{"0", "x", ""} {
		files[2].Set(0x00281053, "DS", slope)
		code := map[string]string{"": "missing_attribute"}[slope]
		if code == "" {
			code = "bad_attribute"
		}
		refused(t, folder(files...), code, "RescaleSlope")
	}
}

func TestRow21PaddingHasNoValue(t *testing.T) {
	files := craft.Stack(4)
	for _, c := range files { // -2000, in a signed image and written as VR US, as many do
		c.US(0x00280120, 0xF830)
		c.Pixels[7], c.Pixels[29] = 0xF830, 0xF830
	}
	s, v := readOnly(t, folder(files...))
	cautioned(t, s)
	for k := range 4 {
		for i := range 30 {
			got := v.Grey(i%6, i/6, k)
			if outside := i == 7 || i == 29; outside != math.IsNaN(got) || !outside && got != greyWant(k, i) {
				t.Fatalf("grey value %d of slice %d = %v", i, k, got)
			}
		}
	}
}

func TestRow21PaddingRangeAndDifferingPadding(t *testing.T) {
	files := craft.Stack(4)
	for k, c := range files {
		c.US(0x00280103, 0).US(0x00280101, 12).US(0x00280102, 11).US(0x00280120, 4095).US(0x00280121, uint16(4000+k))
		for i := range c.Pixels {
			c.Pixels[i] = uint16(3990 + i) // 3990 … 4019: padded from 4000 + k on
		}
	}
	_, v := readOnly(t, folder(files...))
	for k := range 4 {
		for i := range 30 {
			got, outside := v.Grey(i%6, i/6, k), 3990+i >= 4000+k
			if outside != math.IsNaN(got) || !outside && got != float64(2990+i) {
				t.Fatalf("grey value %d of slice %d = %v", i, k, got)
			}
		}
	}
	files = craft.Stack(4) // 16 bits used: no value is free for a common mark
	for k, c := range files {
		c.US(0x00280120, uint16(k))
	}
	refused(t, folder(files...), "mixed", "PixelPaddingValue")
	files = craft.Stack(4) // a padding value that the bits stored cannot hold marks nothing
	for _, c := range files {
		c.US(0x00280103, 0).US(0x00280101, 12).US(0x00280102, 11).US(0x00280120, 0xF830)
		c.Pixels[3] = 0x0830
	}
	s, v := readOnly(t, folder(files...))
	cautioned(t, s, "padding_unused")
	near(t, "a value that looks like the cut padding", v.Grey(3, 0, 0), 0x830-1000, 0)
}

func TestRow22Monochrome1IsInvertedForDisplayOnly(t *testing.T) {
	files := craft.Stack(4)
	for _, c := range files {
		c.Set(0x00280004, "CS", "MONOCHROME1")
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	if cautioned(t, s); !s.Facts.Invert {
		t.Error("Facts.Invert is false")
	}
}
