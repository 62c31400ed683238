package report

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
)

// woff packs a TrueType font for a page: each table deflated.
//
// Source: WOFF File Format 1.0 (W3C, 2012), sections 3 to 5.
func woff(ttf []byte) ([]byte, error) {
	const head, entry = 44, 20
	if len(ttf) < 12 {
		return nil, errors.New("report: typeface too short")
	}
	n := int(binary.BigEndian.Uint16(ttf[4:]))
	dir := make([]byte, 0, n*entry)
	var body bytes.Buffer
	total := 12 + 16*n
	for i := range n {
		rec := ttf[12+16*i:]
		at, size := binary.BigEndian.Uint32(rec[8:]), binary.BigEndian.Uint32(rec[12:])
		table := ttf[at : at+size]
		packed, err := deflated(table)
		if err != nil {
			return nil, err
		}
		dir = append(dir, rec[:4]...)
		dir = binary.BigEndian.AppendUint32(dir, uint32(head+n*entry+body.Len()))
		dir = binary.BigEndian.AppendUint32(dir, uint32(len(packed)))
		dir = binary.BigEndian.AppendUint32(dir, size)
		dir = append(dir, rec[4:8]...)
		body.Write(packed)
		body.Write(make([]byte, (4-len(packed)%4)%4))
		total += int(size+3) / 4 * 4
	}
	out := append([]byte("wOFF"), ttf[:4]...)
	out = binary.BigEndian.AppendUint32(out, uint32(head+len(dir)+body.Len()))
	out = binary.BigEndian.AppendUint16(out, uint16(n))
	out = append(out, 0, 0)
	out = binary.BigEndian.AppendUint32(out, uint32(total))
	out = append(out, 0, 1, 0, 0)
	out = append(out, make([]byte, head-len(out))...)
	return append(append(out, dir...), body.Bytes()...), nil
}

// deflated returns data compressed, or as it is where that is shorter.
func deflated(data []byte) ([]byte, error) {
	var b bytes.Buffer
	z, err := zlib.NewWriterLevel(&b, zlib.BestCompression)
	if err != nil {
		return nil, err
	}
	if _, err := z.Write(data); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	if b.Len() >= len(data) {
		return data, nil
	}
	return b.Bytes(), nil
}
