package jpeglossless

import "ridgerule/dicomio/internal/codec"

// scan reads the scan header, T.81 B.2.3, and then the scan.
func (d *decoder) scan(b []byte) error {
	switch {
	case d.precision == 0:
		return d.fail(codec.ErrCorrupt, "scan before the frame header")
	case d.done:
		return d.fail(codec.ErrUnsupported, "a second scan")
	case len(b) != 6 || b[0] != 1 || b[1] != d.component || b[2]>>4 > 3:
		return d.fail(codec.ErrCorrupt, "scan header of %d bytes for component %d", len(b), d.component)
	}
	selection, pt := int(b[3]), int(b[5]&15)
	if selection < 1 || selection > 7 || pt >= d.precision {
		return d.fail(codec.ErrCorrupt, "predictor %d, point transform %d at %d bits", selection, pt, d.precision)
	}
	h, err := newTable(d.tables[b[2]>>4])
	if err != nil {
		return d.fail(codec.ErrCorrupt, "Huffman table %d: %v", b[2]>>4, err)
	}
	defer h.free()
	start := d.pos
	if err := d.rows(h, selection, uint16(1)<<(d.precision-pt-1)); err != nil {
		return err
	}
	d.done = true
	return d.finish(start, pt)
}

// rows decodes every row; middle is the first prediction of an interval, T.81 H.1.2.1.
func (d *decoder) rows(h *table, selection int, middle uint16) error {
	columns := d.want.Columns
	every := d.interval / columns // rows; 0 is never
	r := reader{data: d.data, pos: d.pos}
	for y := 0; y < d.want.Rows; y++ {
		first := y == 0
		if every > 0 && y > 0 && y%every == 0 {
			first = true
			if err := d.between(&r, byte(y/every-1)&7); err != nil {
				return err
			}
		}
		row := d.dst[y*columns:][:columns]
		if ok := r.differences(row, h); !ok {
			return failAt(r.pos, codec.ErrCorrupt, "row %d of %d: no such Huffman code", y, d.want.Rows)
		}
		if r.n < 0 {
			return failAt(r.pos, codec.ErrCorrupt, "row %d of %d: data end inside the row", y, d.want.Rows)
		}
		if first {
			sumRow(row, middle)
		} else {
			predictRow(row, d.dst[(y-1)*columns:][:columns], selection)
		}
	}
	return d.close(&r)
}

// between ends an interval and steps over its restart marker, whose number is want modulo 8.
func (d *decoder) between(r *reader, want byte) error {
	if err := d.close(r); err != nil {
		return err
	}
	marker, err := d.marker()
	if err != nil {
		return err
	}
	if marker != rst0+want {
		return d.fail(codec.ErrCorrupt, "marker 0x%02X, want restart marker 0x%02X", marker, rst0+want)
	}
	*r = reader{data: d.data, pos: d.pos}
	return nil
}

// close leaves d.pos at the marker that ends an interval. Less than a byte of padding may be unread: more would be
// samples that nobody asked for, and so a sign that the bits and the image have parted.
func (d *decoder) close(r *reader) error {
	r.refill()
	d.pos = r.pos
	if r.n >= 8 {
		return d.fail(codec.ErrCorrupt, "%d bits and more are left over in the interval", r.n)
	}
	return nil
}

// finish holds the samples against the precision and undoes the point transform, T.81 H.1.2.1.
func (d *decoder) finish(offset, pt int) error {
	s := d.want
	s.Stored = max(1, s.Stored-pt)
	if err := s.CheckSamples(name, offset, d.dst, d.precision-pt); err != nil {
		return err
	}
	if pt > 0 {
		for i := range d.dst {
			d.dst[i] <<= pt
		}
	}
	return nil
}
