package dicomio

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/internal/walk"
	"ridgerule/dicomio/temporary"
	"ridgerule/dicomio/volume"
)

// ErrWrite is wrapped when a volume cannot be written as a CT series.
var ErrWrite = errors.New("dicomio: cannot write series")

// syntheticMark is the DeidentificationMethod (0012,0063) of every file that [WriteCT] writes, and what makes a series
// [Series.Synthetic]: it stays when somebody gives the patient another name.
const syntheticMark = "Synthetic data: there is no patient"

// WriteOptions says what the written series claims; the zero value is ready.
type WriteOptions struct {
	Seed     uint64 // UIDs are derived from it and from the volume; same input, same bytes
	Comment  string // ImageComments, in ASCII; "" means "Synthetic volume: no patient."
	Unsigned bool   // write 16-bit unsigned cells, the intercept moved, as many scanners do
	Workers  int    // goroutines; 0 means GOMAXPROCS
}

// WriteCT writes v as a series of CT images in the new or empty folder dir, one file a slice, Explicit VR Little Endian,
// the patient marked as synthetic. The folder appears whole or not at all. What [Series.Read] gives back is v again:
// stored values, rescale, blank and grid (positions to 1e-9 mm).
//
// It returns an error wrapping [ErrWrite] when dir holds something, or when the grid is none of a CT series: rows and
// columns at a right angle, slices counted along row × column.
func WriteCT(dir string, v *volume.Volume, options WriteOptions) error {
	if err := writable(v); err != nil {
		return err
	}
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return fmt.Errorf("%w: %s is not empty", ErrWrite, dir)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%w: %w", ErrWrite, err)
	}
	parent := filepath.Dir(filepath.Clean(dir))
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return fmt.Errorf("%w: %w", ErrWrite, err)
	}
	growing, err := temporary.Folder(parent)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrWrite, err)
	}
	defer growing.Remove()
	err = writeSlices(growing.Path, v, options)
	if err == nil {
		err = growing.Commit(func() error { return reveal(growing.Path, dir) })
	}
	if err != nil {
		return fmt.Errorf("%w: %w", ErrWrite, err)
	}
	return nil
}

// reveal moves the finished folder into place.
func reveal(temp, dir string) error {
	if err := os.Chmod(temp, 0o755); err != nil {
		return err
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return os.Rename(temp, dir)
}

// writable returns an error when v is no CT series.
func writable(v *volume.Volume) error {
	if err := v.Check(); err != nil {
		return fmt.Errorf("%w: %w", ErrWrite, err)
	}
	x, y := r3.Unit(v.Step[0]), r3.Unit(v.Step[1])
	n := v.Size
	switch {
	case math.Abs(r3.Dot(x, y)) > 1e-9:
		return fmt.Errorf("%w: rows and columns are not at a right angle", ErrWrite)
	case r3.Dot(r3.Cross(x, y), v.Step[2]) <= 0:
		return fmt.Errorf("%w: slices are not counted along row × column", ErrWrite)
	case n[0] > 65535 || n[1] > 65535:
		return fmt.Errorf("%w: %d × %d pixels, at most 65535", ErrWrite, n[0], n[1])
	case len(v.Stored) != n[0]*n[1]*n[2] || len(v.Rescale) != 1 && len(v.Rescale) != n[2]:
		return fmt.Errorf("%w: %d values and %d rescales for %d × %d × %d voxels", ErrWrite, len(v.Stored), len(v.Rescale), n[0], n[1], n[2])
	}
	return nil
}

// writeSlices writes the files, in parallel.
func writeSlices(dir string, v *volume.Volume, options WriteOptions) error {
	workers := options.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	if options.Comment == "" {
		options.Comment = "Synthetic volume: no patient."
	}
	options.Comment = ascii(options.Comment)
	size := v.Size[0] * v.Size[1]
	sums := make([][sha256.Size]byte, v.Size[2])
	err := each(context.Background(), workers, v.Size[2], func(k int) error {
		sums[k] = sliceSum(v.Stored[k*size : (k+1)*size])
		return nil
	})
	if err != nil {
		return err
	}
	content := sha256.New()
	fmt.Fprint(content, options, v.Grid, v.Rescale)
	for _, sum := range sums {
		content.Write(sum[:])
	}
	w := ctWriter{v: v, options: options, content: content.Sum(nil)}
	return each(context.Background(), workers, v.Size[2], func(k int) error {
		data, err := w.slice(k)
		if err != nil {
			return fmt.Errorf("slice %d: %w", k+1, err)
		}
		return os.WriteFile(filepath.Join(dir, fmt.Sprintf("IM%04d.dcm", k+1)), data, 0o644)
	})
}

// ascii returns s with every character that the default repertoire lacks as a question mark.
func ascii(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, s)
}

type ctWriter struct {
	v       *volume.Volume
	options WriteOptions
	content []byte // hash of everything written, for the UIDs
}

// uid derives a UID of the 2.25 root from what is written and what the UID is for.
//
// Source: DICOM PS3.5 B.2 (UUID derived UID); RFC 9562 5.8 (UUID version 8).
func (w ctWriter) uid(what string) string {
	sum := sha256.Sum256(append([]byte(what), w.content...))
	b := sum[:16]
	b[6], b[8] = b[6]&0x0F|0x80, b[8]&0x3F|0x80
	return "2.25." + new(big.Int).SetBytes(b).String()
}

// slice returns the file of slice k.
func (w ctWriter) slice(k int) ([]byte, error) {
	instance := w.uid(fmt.Sprint("instance ", k))
	size := w.v.Size[0] * w.v.Size[1]
	e := encoder{b: make([]byte, 0, 2048+2*size)}
	e.b = append(e.b, metaGroup(ctImage, instance, walk.Explicit)...)
	w.who(&e, instance)
	w.where(&e, k)
	w.what(&e, k)
	e.head(0x7FE00010, "OW", 2*size)
	stored := w.v.Stored[k*size : (k+1)*size]
	if !w.options.Unsigned && !bigHost {
		return append(e.b, bytesOf(stored)...), e.err
	}
	var flip uint16
	if w.options.Unsigned {
		flip = 0x8000
	}
	for _, s := range stored {
		e.b = binary.LittleEndian.AppendUint16(e.b, uint16(s)^flip)
	}
	return e.b, e.err
}

// who writes the identifying modules: a synthetic patient, and UIDs.
func (w ctWriter) who(e *encoder, instance string) {
	e.text(0x00080008, "CS", "ORIGINAL", "PRIMARY", "AXIAL")
	e.text(0x00080016, "UI", ctImage)
	e.text(0x00080018, "UI", instance)
	e.text(0x00080020, "DA")
	e.text(0x00080030, "TM")
	e.text(0x00080050, "SH")
	e.text(0x00080060, "CS", "CT")
	e.text(0x00080070, "LO", "Synthetic")
	e.text(0x00080090, "PN")
	e.text(0x0008103E, "LO", "Synthetic volume")
	e.text(0x00100010, "PN", "Synthetic^Phantom")
	e.text(0x00100020, "LO", fmt.Sprintf("SYNTHETIC-%X", w.content[:8])) // each volume a patient of its own
	e.text(0x00100030, "DA")
	e.text(0x00100040, "CS", "O")
	e.text(0x00120062, "CS", "YES")
	e.text(0x00120063, "LO", syntheticMark)
}

// where writes series, frame of reference and image plane of slice k.
func (w ctWriter) where(e *encoder, k int) {
	g := w.v.Grid
	d := g.Spacing()
	x, y := r3.Unit(g.Step[0]), r3.Unit(g.Step[1])
	p := g.Patient(volume.Index{K: float64(k)})
	e.decimals(0x00180050, r3.Dot(r3.Cross(x, y), g.Step[2]))
	e.text(0x00180060, "DS")
	e.text(0x00185100, "CS", "HFS")
	e.text(0x0020000D, "UI", w.uid("study"))
	e.text(0x0020000E, "UI", w.uid("series"))
	e.text(0x00200010, "SH", "1")
	e.text(0x00200011, "IS", "1")
	e.text(0x00200012, "IS", "1")
	e.text(0x00200013, "IS", fmt.Sprint(k+1))
	e.decimals(0x00200032, p.X, p.Y, p.Z)
	e.decimals(0x00200037, x.X, x.Y, x.Z, y.X, y.Y, y.Z)
	e.text(0x00200052, "UI", w.uid("frame of reference"))
	e.text(0x00200060, "CS")
	e.text(0x00201040, "LO")
	e.text(0x00204000, "LT", w.options.Comment)
	e.short(0x00280002, "US", 1)
	e.text(0x00280004, "CS", "MONOCHROME2")
	e.short(0x00280010, "US", uint16(g.Size[1]))
	e.short(0x00280011, "US", uint16(g.Size[0]))
	e.decimals(0x00280030, d[1], d[0])
}

// what writes how the pixels of slice k are stored.
func (w ctWriter) what(e *encoder, k int) {
	e.short(0x00280100, "US", 16)
	e.short(0x00280101, "US", 16)
	e.short(0x00280102, "US", 15)
	r, vr, flip := w.v.RescaleOf(k), "SS", uint16(0)
	if w.options.Unsigned {
		r.Intercept, vr, flip = r.Intercept-32768*r.Slope, "US", 0x8000
		e.short(0x00280103, "US", 0)
	} else {
		e.short(0x00280103, "US", 1)
	}
	if w.v.Blank != nil {
		e.short(0x00280120, vr, uint16(*w.v.Blank)^flip)
	}
	e.decimals(0x00281052, r.Intercept)
	e.decimals(0x00281053, r.Slope)
	// No RescaleType: PS3.3 C.8.2.1 allows an original CT image only HU there, and a synthetic grey value is none.
}
