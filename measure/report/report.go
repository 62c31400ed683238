// Package report writes a measure.Result for those who read it: tables for programs, pictures and
// a page for people, objects for record systems.
//
// A [Case] flows in: the result, its pictures of grey values and its provenance. Bytes flow out,
// through any io.Writer. Nothing is measured here and nothing is rounded twice; the same case
// gives the same bytes. By what you want:
//
//   - every file of a case: [Write], or [NewView] and [View.Files] to keep them in memory
//   - one page or picture: [NewView], then [View.HTML], [View.PDF], [View.DaySheet], [View.SR] or [View.Drawings]
//   - tables for statistics: [MeasurementsCSV], [SitesCSV], and [DataPackage], which says what their columns are
//   - a result from before: [ReadJSON] and [ReadPictures] give the Case back
//
// Frames:
//
//	reformat.UV  (u, v)     section: +u buccal, +v coronal; mm
//	r3.Vec       (x, y, z)  patient, LPS; mm
//	spot         (x, y)     on the paper: +x right, +y down from the sheet's upper left corner; mm of paper
//
// A picture is first a [sheet], a list of marks in mm of paper, and then goes through one of the
// pens: SVG, PNG or PDF. What one pen draws, all draw.
package report

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"ridgerule/dicomio"
	"ridgerule/measure"
	"ridgerule/measure/reformat"
)

// Case is everything that one case's outputs are written from.
type Case struct {
	Result     *measure.Result
	Sections   map[string]Picture // grey values of the sections, by site id; a site without one is drawn as lines only
	Panoramic  *Picture           // along the arch; nil: none
	Surfaces   []File             // written with the standard outputs, surfaces/…
	Provenance Provenance
}

// Picture is a plane of grey values. Of a section, u runs to the right and v upward. Of a
// panoramic, U is the arc length and V the height above the arch curve toward the biting surface.
type Picture struct {
	First         reformat.UV // centre of the first pixel: least u, greatest v; mm
	Step          float64     // from pixel to pixel, mm
	Width, Height int         // pixels
	Grey          []float32   // Width·Height relative grey values, row after row from the top; NaN: outside the field
}

// PictureOf returns the section's grey values as a picture; the values are shared.
func PictureOf(s reformat.Section) Picture {
	return Picture{First: s.Corner, Step: s.Step, Width: s.Width, Height: s.Height, Grey: s.Grey}
}

// PictureOfPanorama returns the unrolled view as a picture; the values are shared.
func PictureOfPanorama(p reformat.Panorama) *Picture {
	return &Picture{First: reformat.UV{V: p.Top}, Step: p.Step, Width: p.Width, Height: p.Height, Grey: p.Grey}
}

// Provenance says what made a result. It holds no identity and no path.
type Provenance struct {
	Tool    string            // name and version of the program: "ridgerule 0.1.0"
	Date    time.Time         // of measuring; zero: not stated
	Options map[string]string // options that differ from their defaults, by flag name
	Files   map[string]string // SHA-256 of the pictures and surfaces beside the result, by name; of a result that was read
	Content string            // SHA-256 that its bytes have but for its own digits; of a result that was read
	Source  dicomio.Source    // the series, by UIDs that stand for its own (see [dicomio.Source.Deidentified]); zero: not known
}

// Date returns the moment that outputs are to carry, in UTC and whole seconds: SOURCE_DATE_EPOCH
// if the environment sets it, else now. It returns an error when the variable is not a count of
// seconds.
//
// Source: reproducible-builds.org, SOURCE_DATE_EPOCH specification.
func Date(getenv func(string) string, now func() time.Time) (time.Time, error) {
	text := getenv("SOURCE_DATE_EPOCH")
	if text == "" {
		return now().UTC().Truncate(time.Second), nil
	}
	seconds, err := strconv.ParseInt(text, 10, 64)
	if err != nil || seconds < 0 {
		return time.Time{}, fmt.Errorf("report: SOURCE_DATE_EPOCH is %q; set it to seconds since 1970-01-01 or unset it", text)
	}
	return time.Unix(seconds, 0).UTC(), nil
}

// check reports a picture whose numbers do not fit together.
func (p Picture) check(name string) error {
	if p.Width < 1 || p.Height < 1 || len(p.Grey) != p.Width*p.Height {
		return fmt.Errorf("report: picture %s: %d grey values for %d × %d pixels", name, len(p.Grey), p.Width, p.Height)
	}
	if !(p.Step > 0) || math.IsInf(p.Step, 0) {
		return fmt.Errorf("report: picture %s: step %g mm", name, p.Step)
	}
	return nil
}

// last returns the centre of the last pixel (greatest u, least v), mm.
func (p Picture) last() reformat.UV {
	return reformat.UV{
		U: p.First.U + float64(p.Width-1)*p.Step,
		V: p.First.V - float64(p.Height-1)*p.Step,
	}
}
