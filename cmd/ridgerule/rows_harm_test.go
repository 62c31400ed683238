package main

import (
	"archive/zip"
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/dicomio/craft"
)

// rowsOfHarm are the rows that concern damaged and hostile files.
func rowsOfHarm() []tricky {
	each := func(change func(c *craft.File)) maker { return whole(func(_ int, c *craft.File) { change(c) }) }
	last := slabSlices - 1
	cut := func(bytes int) maker { // the last slice, so that no gap gives it away
		return func(t *testing.T, dir string) string {
			for k, c := range stack() {
				data := c.Bytes()
				if k == last {
					data = data[:len(data)-bytes]
				}
				write(t, dir, fmt.Sprintf("IM%04d.dcm", k), data)
			}
			return dir
		}
	}
	alone := func(body []byte) maker { // one file, something put before the patient's name
		return func(t *testing.T, dir string) string {
			whole := plainSlice(0).Bytes()
			at := bytes.Index(whole, []byte("\x10\x00\x10\x00PN"))
			write(t, dir, "IM9002.dcm", slices.Concat(whole[:at], body, whole[at:]))
			return dir
		}
	}
	var nest []byte
	for range 50_000 {
		nest = craft.AppendHead(nest, craft.Explicit, 0x00091010, "SQ", 0xFFFFFFFF)
		nest = craft.AppendHead(nest, craft.Implicit, 0xFFFEE000, "", 0xFFFFFFFF)
	}
	return []tricky{
		refuse(29, "cut in its pixels", cut(30), "IM0025.dcm", "30 bytes are missing", "copy or export"),
		refuse(29, "cut before its pixels", cut(2*slabMatrix*slabMatrix+40), "IM0025.dcm"),
		refuse(33, "length that lies", alone(craft.AppendHead(nil, craft.Explicit, 0x00091010, "OB", 0xFFFFFFFE)), "IM9002.dcm", "copy or export the file again"),
		refuse(33, "nesting bomb", alone(nest), "IM9002.dcm", "copy or export the file again"),
		refuse(33, "frames that lie", each(func(c *craft.File) { c.Set(0x00280008, "IS", "4000000000000000000") }), "NumberOfFrames"),
		refuse(33, "negative frames", each(func(c *craft.File) { c.Set(0x00280008, "IS", "-1") }), "NumberOfFrames -1"),
		refuse(33, "rows without a value", each(func(c *craft.File) { c.Raw(0x00280010, "US", nil) }), "(0028,0010)", "length 0, want 2"),
		refuse(33, "dimensions past the file", each(func(c *craft.File) { c.US(0x00280010, 65535).US(0x00280011, 65535) }), "PixelData", "bytes are missing"),
		refuse(33, "dimensions past memory", each(func(c *craft.File) {
			c.Syntax, c.Fragments = craft.RLE, [][]byte{craft.RLEFrame(c.Pixels)}
			c.US(0x00280010, 65535).US(0x00280011, 65535)
		}), "PixelData", "claim to decode to"),
		late(33, "compressed frames that lie", each(func(c *craft.File) {
			c.Syntax, c.Fragments = craft.RLE, [][]byte{craft.RLEFrame(c.Pixels)}
			c.US(0x00280010, 41)
		}), "PixelData"),
	}
}

// rowsOfDoors are the rows that concern the ways in.
func rowsOfDoors() []tricky {
	zipped := func(method uint16, more func(w *zip.Writer) error) maker {
		return func(t *testing.T, dir string) string {
			data, err := craft.Zip(method, "deep/er/", stack(), more)
			require.NoError(t, err)
			write(t, dir, "series.zip", data)
			return filepath.Join(dir, "series.zip")
		}
	}
	entry := func(h zip.FileHeader) func(w *zip.Writer) error {
		return func(w *zip.Writer) error { _, err := w.CreateRaw(&h); return err }
	}
	bomb := func(headers ...zip.FileHeader) maker {
		return func(t *testing.T, dir string) string {
			data, err := craft.Zip(zip.Store, "", nil, func(w *zip.Writer) (err error) {
				for _, h := range headers {
					if err == nil {
						err = entry(h)(w)
					}
				}
				return err
			})
			require.NoError(t, err)
			write(t, dir, "series.zip", data)
			return filepath.Join(dir, "series.zip")
		}
	}
	path := func(name string, data []byte) maker {
		return func(t *testing.T, dir string) string {
			if data != nil {
				write(t, dir, name, data)
			}
			return filepath.Join(dir, name)
		}
	}
	return []tricky{
		read(34, "zip, stored", zipped(zip.Store, nil)),
		read(34, "zip, deflated, other files", zipped(zip.Deflate, func(w *zip.Writer) error { _, err := w.Create("deep/note.txt"); return err })).list("passed over: 1 files"),
		read(34, "zip, entry above the archive", zipped(zip.Deflate, entry(zip.FileHeader{Name: "../evil.dcm"}))).caution("files_refused"),
		read(34, "zip, absolute name", zipped(zip.Deflate, entry(zip.FileHeader{Name: "/etc/evil.dcm"}))).caution("files_refused"),
		read(34, "zip, one entry encrypted", zipped(zip.Deflate, entry(zip.FileHeader{Name: "secret.dcm", Flags: 1}))).caution("files_refused"),
		refuse(34, "zip, all encrypted", bomb(zip.FileHeader{Name: "a", Flags: 1}), "series.zip", "encrypted", "password"),
		refuse(34, "zip bomb", bomb(zip.FileHeader{Name: "a", Method: zip.Deflate, UncompressedSize64: 1 << 40}), "series.zip", "unpack to"),
		refuse(34, "zip, overlapping", bomb(zip.FileHeader{Name: "a", CompressedSize64: 1 << 20, UncompressedSize64: 1 << 20}, zip.FileHeader{Name: "b"}), "series.zip", "overlap"),
		refuse(34, "zip, cut", path("series.zip", []byte("PK\x03\x04 and no more")), "series.zip"),
		read(35, "DICOMDIR", directory(slabSlices)),
		read(35, "DICOMDIR, a file missing", directory(slabSlices, `IMG\GONE`)).caution("files_missing"),
		refuse(35, "DICOMDIR, nothing there", directory(0, `A\B`), "none of which is there"),
		refuse(44, "empty folder", path(".", nil), "the folder is empty", "give the folder that holds the DICOM files"),
		refuse(44, "no DICOM", func(t *testing.T, dir string) string { path("a.txt", []byte("no DICOM here"))(t, dir); return dir }, "no DICOM image among 1 files"),
		refuse(44, "locked folder", locked),
		{row: 44, name: "no such path", files: path("gone", nil), inspect: exitUsage, measure: exitUsage, says: []string{"no such path"}},
	}
}

// directory makes a DICOMDIR that lists n slices, in files of another case, and more.
func directory(n int, more ...string) maker {
	return func(t *testing.T, dir string) string {
		var ids []string
		for k, c := range stack()[:n] {
			write(t, dir, fmt.Sprintf("img/im%d.;1", k), c.Bytes())
			ids = append(ids, fmt.Sprintf(`IMG\IM%d`, k))
		}
		write(t, dir, "dicomdir", craft.Directory(append(ids, more...)...))
		return filepath.Join(dir, "dicomdir")
	}
}

func locked(t *testing.T, dir string) string {
	if os.Geteuid() == 0 {
		t.Skip("running as root: permissions do not apply")
	}
	inner := filepath.Join(dir, "locked")
	require.NoError(t, os.Mkdir(inner, 0o000))
	return inner
}
