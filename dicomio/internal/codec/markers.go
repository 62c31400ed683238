package codec

import (
	"encoding/binary"
	"fmt"
)

// Marker codes that JPEG Lossless and JPEG-LS share: the byte after 0xFF. Source: T.81 table B.1.
const (
	rst0 = 0xD0 // the first of eight
	soi  = 0xD8
	eoi  = 0xD9
	sos  = 0xDA
	DRI  = 0xDD
	app0 = 0xE0 // the first of sixteen for applications
	com  = 0xFE // a comment
)

// Markers reads the marker segments of a JPEG stream. Source: T.81 B.1.1.
type Markers struct {
	Codec string
	Data  []byte
	Pos   int // of the next unread byte
}

// Fail returns an [*Error] at the current position.
func (m *Markers) Fail(kind error, format string, args ...any) error {
	return m.FailAt(m.Pos, kind, format, args...)
}

// FailAt returns an [*Error] at the given one.
func (m *Markers) FailAt(offset int, kind error, format string, args ...any) error {
	return &Error{Codec: m.Codec, Offset: offset, Kind: kind, What: fmt.Sprintf(format, args...)}
}

// Stream reads a stream of one scan from the start of image to its end. It hands the parameters of each marker but
// comments to segment, with Pos before them, for errors, and those of the scan to scan, with Pos after them: scan leaves it at the next marker.
func (m *Markers) Stream(segment func(marker byte, body []byte) error, scan func(header []byte) error) error {
	if len(m.Data) < 2 || m.Data[0] != 0xFF || m.Data[1] != soi {
		return m.Fail(ErrCorrupt, "no start of image")
	}
	m.Pos = 2
	for scanned := false; ; {
		marker, err := m.next()
		if err != nil {
			return err
		}
		if marker == eoi && !scanned {
			return m.Fail(ErrCorrupt, "end of image before any scan")
		} else if marker == eoi {
			return nil
		}
		body, size, err := m.segment()
		switch {
		case err != nil:
		case marker&0xF0 == app0 || marker == com:
			m.Pos += size
		case marker != sos:
			err = segment(marker, body)
			m.Pos += size
		case scanned:
			err = m.FailAt(m.Pos+size, ErrUnsupported, "a second scan")
		default:
			m.Pos += size
			scanned = true
			err = scan(body)
		}
		if err != nil {
			return err
		}
	}
}

// next reads the next marker and the fill bytes before it.
func (m *Markers) next() (byte, error) {
	at := m.Pos
	for m.Pos < len(m.Data) && m.Data[m.Pos] == 0xFF {
		m.Pos++
	}
	if m.Pos == len(m.Data) {
		return 0, m.Fail(ErrCorrupt, "data end before the end of image")
	}
	if m.Pos == at || m.Data[m.Pos] < 0x80 {
		return 0, m.FailAt(at, ErrCorrupt, "0x%02X where a marker should be", m.Data[at])
	}
	m.Pos++
	return m.Data[m.Pos-1], nil
}

// segment returns the parameters of the marker just read. Pos stays before them; the caller adds size to it.
func (m *Markers) segment() (body []byte, size int, err error) {
	rest := len(m.Data) - m.Pos
	if rest < 2 {
		return nil, 0, m.Fail(ErrCorrupt, "data end in a marker segment")
	}
	size = int(binary.BigEndian.Uint16(m.Data[m.Pos:]))
	if size < 2 || size > rest {
		return nil, 0, m.Fail(ErrCorrupt, "marker segment of %d bytes, %d are there", size, rest)
	}
	return m.Data[m.Pos+2 : m.Pos+size], size, nil
}

// FrameHeader reads the parameters of a frame header and holds them against the DICOM header's. It returns the precision in
// bits, 2 to 16, and the identifier of the one component. Source: T.81 B.2.2.
func (m *Markers) FrameHeader(b []byte, want Shape) (precision int, component byte, err error) {
	if len(b) < 6 || len(b) != 6+3*int(b[5]) {
		return 0, 0, m.Fail(ErrCorrupt, "frame header of %d bytes", len(b))
	}
	if b[5] != 1 {
		return 0, 0, m.Fail(ErrUnsupported, "%d components, only 1 is read", b[5])
	}
	precision = int(b[0])
	rows, columns := int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:]))
	if precision < 2 || precision > 16 {
		return 0, 0, m.Fail(ErrCorrupt, "precision of %d bits, the standard allows 2 to 16", precision)
	}
	if rows != want.Rows || columns != want.Columns || precision > want.Allocated {
		return 0, 0, m.Fail(ErrShape, "stream is %d columns × %d rows of %d bits, header %d × %d of %d",
			columns, rows, precision, want.Columns, want.Rows, want.Allocated)
	}
	return precision, b[6], nil
}

// Restart steps over the restart marker that ends interval n, counted from 0. Source: T.81 B.2.1, E.1.4.
func (m *Markers) Restart(n int) error {
	marker, err := m.next()
	if err != nil {
		return err
	}
	if want := byte(rst0 + n&7); marker != want {
		return m.Fail(ErrCorrupt, "marker 0x%02X, want restart marker 0x%02X", marker, want)
	}
	return nil
}
