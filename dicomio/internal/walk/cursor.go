package walk

import (
	"bytes"
	"io"
)

// cursor reads forward through a source, with a small window, and jumps where the source allows it.
type cursor struct {
	r    io.Reader
	at   io.ReaderAt
	size int64 // where the source ends; nothing is read past it
	open bool  // the source may end before size (a deflated stream)
	off  int64 // of the next byte
	buf  [8192]byte
	lo   int // buf[lo:hi] are the bytes from off on
	hi   int
}

func newCursor(src Source) *cursor { return &cursor{r: src.R, at: src.At, size: src.Size} }

// peek returns the next n bytes (n ≤ 8192) without passing them; io.ErrUnexpectedEOF when there are fewer.
func (c *cursor) peek(n int) ([]byte, error) {
	for c.hi-c.lo < n {
		if err := c.fill(); err != nil {
			return nil, err
		}
	}
	return c.buf[c.lo : c.lo+n], nil
}

// fill reads more bytes into the window.
func (c *cursor) fill() error {
	copy(c.buf[:], c.buf[c.lo:c.hi])
	c.hi, c.lo = c.hi-c.lo, 0
	ahead := c.off + int64(c.hi)
	room := c.buf[c.hi:min(int64(len(c.buf)), int64(c.hi)+max(0, c.size-ahead))]
	if len(room) == 0 {
		return io.ErrUnexpectedEOF
	}
	var n int
	var err error
	if c.at != nil {
		n, err = c.at.ReadAt(room, ahead)
	} else {
		n, err = c.r.Read(room)
	}
	c.hi += n
	if n > 0 {
		return nil
	}
	if err == nil || err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// skip passes n bytes.
func (c *cursor) skip(n int64) error {
	if n > c.size-c.off {
		return io.ErrUnexpectedEOF
	}
	have := int64(c.hi - c.lo)
	if n <= have {
		c.lo += int(n)
		c.off += n
		return nil
	}
	if c.at == nil {
		if m, err := io.CopyN(io.Discard, c.r, n-have); err != nil {
			c.off += have + m
			c.lo = c.hi
			return err
		}
	}
	c.lo, c.hi = 0, 0
	c.off += n
	return nil
}

// take returns a copy of the next n bytes and passes them. The caller has bounded n.
func (c *cursor) take(n int) ([]byte, error) {
	b := make([]byte, n)
	done := 0
	for done < n {
		part := min(n-done, len(c.buf))
		head, err := c.peek(part)
		if err != nil {
			return nil, err
		}
		copy(b[done:], head)
		done += part
		if err := c.skip(int64(part)); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// atEOF reports whether nothing is left.
func (c *cursor) atEOF() bool {
	_, err := c.peek(1)
	return err != nil
}

// reader returns what is left as a stream.
func (c *cursor) reader() io.Reader {
	if c.at != nil {
		return io.NewSectionReader(c.at, c.off, c.size-c.off)
	}
	return io.MultiReader(bytes.NewReader(c.buf[c.lo:c.hi]), c.r)
}
