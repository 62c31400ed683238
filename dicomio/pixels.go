package dicomio

import (
	"compress/flate"
	"errors"
	"fmt"
	"io"
	"io/fs"
)

// pixelReader reads frames of one open file. It is for one goroutine.
type pixelReader struct {
	input *Input
	src   *source
	file  fs.File
	at    io.ReaderAt // nil: the bytes come in order only
	r     io.Reader   // the stream that Pixels.Offset counts in, when at is nil
	pos   int64       // in r

	raw    []byte // 8-bit cells, or a compressed frame
	starts []int  // first fragment of each frame, and the end
}

// openPixels opens src for reading frames, and makes sure it is still the file that was scanned.
func (d *Input) openPixels(src *source) (*pixelReader, error) {
	r := &pixelReader{input: d, src: src}
	return r, r.open()
}

func (r *pixelReader) open() error {
	r.Close()
	f, err := r.input.FS.Open(r.src.name)
	if err != nil {
		return r.lost("cannot be opened any more", err)
	}
	r.file = f
	info, err := f.Stat()
	if err != nil || info.Size() != r.src.size || !info.ModTime().Equal(r.src.when) {
		return r.lost("changed since it was scanned", err)
	}
	r.at, r.r, r.pos = nil, f, 0
	if at, ok := f.(io.ReaderAt); ok && r.src.walked.Deflated == 0 {
		r.at = at
	}
	if from := r.src.walked.Deflated; from > 0 {
		if _, err := io.CopyN(io.Discard, f, from); err != nil {
			return r.lost("cannot be read", err)
		}
		r.r = flate.NewReader(f)
	}
	return nil
}

// finish reads a stream to its end, so that an archive's checksum is held against the bytes.
func (r *pixelReader) finish() error {
	if r.at != nil {
		return nil
	}
	if _, err := io.Copy(io.Discard, r.file); err != nil {
		return r.lost("cannot be read to its end", err)
	}
	return nil
}

// Close closes the file.
func (r *pixelReader) Close() {
	if r.file != nil {
		r.file.Close()
		r.file = nil
	}
}

func (r *pixelReader) lost(what string, err error) *SeriesError {
	e := &SeriesError{Code: "unreadable", File: r.src.name, Problem: what, Remedy: "copy or export the file again", Cause: err}
	if err != nil {
		e.Problem += " (" + printable(reason(err), 120) + ")"
	}
	return e
}

// bytes reads len(b) bytes at offset off.
func (r *pixelReader) bytes(b []byte, off int64) error {
	var n int
	var err error
	if r.at != nil {
		n, err = r.at.ReadAt(b, off)
	} else {
		if off < r.pos {
			if err := r.open(); err != nil {
				return err
			}
		}
		if _, err = io.CopyN(io.Discard, r.r, off-r.pos); err == nil {
			n, err = io.ReadFull(r.r, b)
		}
		r.pos = off + int64(n)
	}
	if n == len(b) {
		return nil
	}
	e := r.lost("cannot be read", err)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		e.Code, e.Problem = "truncated", fmt.Sprintf("Pixel Data is cut short: at least %d bytes are missing", len(b)-n)
	}
	return e
}

// frame reads one frame into dst, rows·columns stored values.
func (r *pixelReader) frame(p *plane, dst []int16) error {
	format, px := r.src.pixels, r.src.walked.Pixels
	c := newCells(format)
	var err error
	switch {
	case px.Encapsulated:
		err = r.decode(p.frame, dst)
	case format.allocated == 8:
		r.raw = grow(r.raw, len(dst))
		if err = r.bytes(r.raw, px.Offset+int64(p.frame)*format.bytes()); err == nil {
			widen(dst, r.raw)
		}
	default:
		b := bytesOf(dst)
		err = r.bytes(b, px.Offset+int64(p.frame)*format.bytes())
		if r.src.walked.BigEndian != bigHost {
			swap(b)
		}
	}
	if err != nil {
		return err
	}
	c.convert(dst)
	return nil
}

// grow returns b with length n, its content undefined.
func grow(b []byte, n int) []byte {
	if cap(b) < n {
		return make([]byte, n)
	}
	return b[:n]
}
