package align

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"path/filepath"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrFile is the fault of a file that is no alignment, or of one changed after it was accepted.
var ErrFile = errors.New("align: no alignment file")

// fileFormat is the version of the files this package writes.
const fileFormat = 1

// The kinds of an alignment: what was brought onto what.
const (
	KindScans   = "scans"
	KindSurface = "surface"
	KindPoints  = "points"
)

// File is an alignment as it is kept: between which two things, how, how well, and who has looked at it.
type File struct {
	Format     int
	Program    string // name and version of what wrote it
	Kind       string // [KindScans] …
	First      Subject
	Second     Subject
	Transform  Transform // first → second
	ScaleFound *Ratio    // a check, never applied; nil: not asked
	Fit        []Fact    // what the fit says of itself, in words: none of it is its error
	Landmarks  []Landmark
	Cautions   []string
	Accepted   *Accepted // nil: nobody has
}

// Ratio is how long lengths of the second are over those of the first, no unit, as the fit has it.
type Ratio struct {
	Value float64  `json:"value"`
	U     *float64 `json:"U"` // expanded, k = 2; null: not known
}

// NewRatio returns the ratio found with its standard uncertainty (NaN: not known), both no unit.
func NewRatio(value, std float64) *Ratio {
	if math.IsNaN(value) {
		return nil
	}
	return &Ratio{value, known(2 * std)}
}

// Subject is one of the two things: a scan by its hashes, or a file by its name.
type Subject struct {
	Series string     `json:"series,omitempty"` // hash, as a plan and a result name a scan
	Frame  string     `json:"frame,omitempty"`  // hash of the frame of reference
	File   string     `json:"file,omitempty"`   // of a surface or of points: the name alone, without its folder
	SHA256 string     `json:"sha256,omitempty"` // of that file's bytes, hexadecimal: another file of the same name is another surface
	Voxel  [3]float64 `json:"voxel_mm,omitzero"`
}

// Exchanged reports whether a file of this name, with this SHA-256 of its bytes, stands where another one of the name was aligned.
func (s Subject) Exchanged(name, sha256 string) bool {
	return s.SHA256 != "" && path.Base(filepath.ToSlash(name)) == s.File && sha256 != s.SHA256
}

// Fact is a figure in words.
type Fact struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// Landmark is a place marked by hand in both. Its distance after the alignment is the alignment's error there, with that
// of the marking.
type Landmark struct {
	Name   string     `json:"name,omitempty"`
	First  [3]float64 `json:"first_mm"`
	Second [3]float64 `json:"second_mm"`
	Apart  float64    `json:"apart_mm"`
}

// NewLandmark returns the landmark at a in the first frame and b in the second, mm, as t has them apart.
func NewLandmark(name string, a, b r3.Vec, t Transform) Landmark {
	return Landmark{name, [3]float64{a.X, a.Y, a.Z}, [3]float64{b.X, b.Y, b.Z}, r3.Norm(r3.Sub(t.Apply(a), b))}
}

// Accepted says who has looked at an alignment and lets it count.
type Accepted struct {
	By     string    `json:"by"`
	At     time.Time `json:"at"`
	Digest string    `json:"sha256"` // of all the rest of the file: what is changed later is no longer accepted
}

// Digest returns the hash of all but the acceptance, as [File.Write] writes it: it names the alignment, accepted or not.
func (f File) Digest() (string, error) {
	f.Accepted, f.Format = nil, fileFormat
	data, err := json.Marshal(f)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}

// Accept returns the file accepted by somebody at a time. It returns [ErrFile] where by is empty.
func (f File) Accept(by string, at time.Time) (File, error) {
	by = strings.Join(strings.Fields(by), " ")
	if by == "" {
		return f, fmt.Errorf("%w: nobody is named who accepts it", ErrFile)
	}
	f.Format = fileFormat // as [File.Write] writes it
	digest, err := f.Digest()
	if err != nil {
		return f, err
	}
	f.Accepted = &Accepted{by, at.UTC().Truncate(time.Second), digest}
	return f, nil
}

// Write writes the file as JSON.
func (f File) Write(w io.Writer) error {
	f.Format = fileFormat
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(f)
}

// mostFile is how large a file may be, bytes: a hundred landmarks have a tenth of it.
const mostFile = 1 << 20

// ReadFile reads what [File.Write] wrote. It returns [ErrFile], wrapped with what is wrong, where it is no such file or
// where it was changed after it was accepted.
func ReadFile(r io.Reader) (File, error) {
	data, err := io.ReadAll(io.LimitReader(r, mostFile+1))
	if err != nil {
		return File{}, err
	}
	if len(data) > mostFile {
		return File{}, fmt.Errorf("%w: it holds more than %d bytes", ErrFile, mostFile)
	}
	var f File
	if err := json.Unmarshal(data, &f); err != nil {
		return File{}, fmt.Errorf("%w: %w", ErrFile, err)
	}
	if f.Format != fileFormat {
		return File{}, fmt.Errorf("%w: format %d, this program knows %d", ErrFile, f.Format, fileFormat)
	}
	if f.Accepted == nil {
		return f, nil
	}
	want, err := f.Digest()
	if err != nil {
		return File{}, err
	}
	if f.Accepted.Digest != want {
		return File{}, fmt.Errorf("%w: it was changed after %s accepted it", ErrFile, f.Accepted.By)
	}
	return f, nil
}
