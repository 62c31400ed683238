package jpeglossless

import "ridgerule/dicomio/internal/codec"

// scan reads the scan header, T.81 B.2.3, and then the scan.
func (d *decoder) scan(b []byte) error {
	switch {
	case d.precision == 0:
		return d.Fail(codec.ErrCorrupt, "scan before the frame header")
	case len(b) != 6 || b[0] != 1 || b[1] != d.component || b[2]>>4 > 3:
		return d.Fail(codec.ErrCorrupt, "scan header of %d bytes for component %d", len(b), d.component)
	}
	selection, pt := int(b[3]), int(b[5]&15)
	if selection < 1 || selection > 7 || pt >= d.precision {
		return d.Fail(codec.ErrCorrupt, "predictor %d, point transform %d at %d bits", selection, pt, d.precision)
	}
	h, err := newTable(d.tables[b[2]>>4])
	if err != nil {
		return d.Fail(codec.ErrCorrupt, "Huffman table %d: %v", b[2]>>4, err)
	}
	defer h.free()
	start := d.Pos
	if err := d.rows(h, selection, uint16(1)<<(d.precision-pt-1)); err != nil {
		return err
	}
	return d.finish(start, pt)
}

// rows decodes every row; middle is the first prediction of an interval, T.81 H.1.2.1.
func (d *decoder) rows(h *table, selection int, middle uint16) error {
	columns := d.want.Columns
	every := d.interval / columns // rows; 0 is never
	r := reader{data: d.Data, pos: d.Pos}
	for y := 0; y < d.want.Rows; y++ {
		first := y == 0
		if every > 0 && y > 0 && y%every == 0 {
			first = true
			if err := d.between(&r, y/every-1); err != nil {
				return err
			}
		}
		row := d.dst[y*columns:][:columns]
		if ok := r.differences(row, h); !ok {
			return d.FailAt(r.pos, codec.ErrCorrupt, "row %d of %d: no such Huffman code", y, d.want.Rows)
		}
		if r.n < 0 {
			return d.FailAt(r.pos, codec.ErrCorrupt, "row %d of %d: data end inside the row", y, d.want.Rows)
		}
		if first {
			sumRow(row, middle)
		} else {
			predictRow(row, d.dst[(y-1)*columns:][:columns], selection)
		}
	}
	return d.close(&r)
}

// between ends an interval and steps over the restart marker after it.
func (d *decoder) between(r *reader, interval int) error {
	if err := d.close(r); err != nil {
		return err
	}
	if err := d.Restart(interval); err != nil {
		return err
	}
	*r = reader{data: d.Data, pos: d.Pos}
	return nil
}

// close leaves d.Pos at the marker that ends an interval. Less than a byte of padding may be unread: more would be
// samples that nobody asked for, and so a sign that the bits and the image have parted.
func (d *decoder) close(r *reader) error {
	r.refill()
	d.Pos = r.pos
	if r.n >= 8 {
		return d.Fail(codec.ErrCorrupt, "%d bits and more are left over in the interval", r.n)
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
