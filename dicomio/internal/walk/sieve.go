package walk

import "encoding/binary"

// sieve collects the wanted attributes, re-encoded.
type sieve struct {
	data  []byte
	count int
}

// room reports whether one more attribute may be kept.
func (s *sieve) room() bool { return s.count < maxKept && len(s.data) < maxKeptBytes }

// add appends one attribute with a value of at most maxValue bytes.
func (s *sieve) add(tag uint32, vr string, value []byte) {
	s.count++
	s.tag(tag)
	s.data = append(s.data, vr...)
	odd := len(value) & 1
	s.data = binary.LittleEndian.AppendUint16(s.data, uint16(len(value)+odd))
	s.data = append(s.data, value...)
	if odd == 1 {
		s.data = append(s.data, ' ')
	}
}

// open begins a sequence or an item, to be closed with the value it returns.
func (s *sieve) open(tag uint32) int {
	s.count++
	s.tag(tag)
	if tag != tagItem {
		s.data = append(s.data, "SQ\x00\x00"...)
	}
	s.data = append(s.data, 0, 0, 0, 0)
	return len(s.data)
}

// close sets the length of what open began.
func (s *sieve) close(start int) {
	binary.LittleEndian.PutUint32(s.data[start-4:], uint32(len(s.data)-start))
}

func (s *sieve) tag(tag uint32) {
	s.data = binary.LittleEndian.AppendUint16(s.data, uint16(tag>>16))
	s.data = binary.LittleEndian.AppendUint16(s.data, uint16(tag))
}

// file returns the attributes as a whole file: preamble, meta group, data set.
func (s *sieve) file() []byte {
	var meta sieve
	meta.add(0x00020010, "UI", []byte(Explicit+"\x00"))
	head := make([]byte, 128, 160+len(meta.data)+len(s.data))
	head = append(head, "DICM\x02\x00\x00\x00UL\x04\x00"...)
	head = binary.LittleEndian.AppendUint32(head, uint32(len(meta.data)))
	head = append(head, meta.data...)
	return append(head, s.data...)
}
