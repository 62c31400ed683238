package jpegls

import "ridgerule/dicomio/internal/codec"

// scan reads the scan header, T.87 C.2.3, and then the scan.
func (d *decoder) scan(b []byte) error {
	switch {
	case d.precision == 0:
		return d.Fail(codec.ErrCorrupt, "scan before the frame header")
	case len(b) != 6 || b[0] != 1 || b[1] != d.component:
		return d.Fail(codec.ErrCorrupt, "scan header of %d bytes for component %d", len(b), d.component)
	case b[2] != 0 || b[5] != 0:
		return d.Fail(codec.ErrUnsupported, "mapping table %d, point transform %d", b[2], b[5])
	}
	p, err := newParams(d.presets, d.precision, int(b[3])) // b[4], how components interleave, says nothing of one alone
	if err != nil {
		return d.Fail(codec.ErrCorrupt, "%v", err)
	}
	start := d.Pos
	if err := d.lines(newState(p)); err != nil {
		return err
	}
	return d.want.CheckSamples(name, start, d.dst, d.precision)
}

// lines decodes every line.
func (d *decoder) lines(s *state) error {
	w := d.want.Columns
	zeros := make([]uint16, w) // above the first line of an interval
	above, corner := zeros, 0
	s.bits = reader{data: d.Data, pos: d.Pos}
	for y := 0; y < d.want.Rows; y++ {
		if d.interval > 0 && y > 0 && y%d.interval == 0 {
			if err := d.between(s, y/d.interval-1); err != nil {
				return err
			}
			above, corner = zeros, 0
		}
		line := d.dst[y*w:][:w]
		if !s.line(line, above, corner) {
			return d.FailAt(s.bits.pos, codec.ErrCorrupt, "line %d of %d: a run or an error that cannot be", y, d.want.Rows)
		}
		if s.bits.n < 0 {
			return d.FailAt(s.bits.pos, codec.ErrCorrupt, "line %d of %d: data end inside the line", y, d.want.Rows)
		}
		above, corner = line, int(above[0])
	}
	return d.close(&s.bits)
}

// between ends an interval and steps over the restart marker after it.
func (d *decoder) between(s *state, interval int) error {
	if err := d.close(&s.bits); err != nil {
		return err
	}
	if err := d.Restart(interval); err != nil {
		return err
	}
	s.start()
	s.bits = reader{data: d.Data, pos: d.Pos}
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
