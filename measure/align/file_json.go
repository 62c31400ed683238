package align

import (
	"bytes"
	"encoding/json"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"
)

// fileJSON is a [File] as it is written. Lengths are mm, angles rad; a point p of frame from lies at
//
//	rotation·p + translation_mm
//
// in frame to. The covariance is that of rx, ry, rz, tx, ty, tz about centre_mm; that of the difference in size with these six,
// and its own variance, is a row by itself.
type fileJSON struct {
	Format         int              `json:"format"`
	Program        string           `json:"program"`
	Kind           string           `json:"kind"`
	From           string           `json:"from"`
	To             string           `json:"to"`
	First          Subject          `json:"first"`
	Second         Subject          `json:"second"`
	Rotation       [3][3]float64    `json:"rotation"`
	Translation    [3]float64       `json:"translation_mm"`
	Centre         *[3]float64      `json:"centre_mm"`       // null: the uncertainty is not known
	Covariance     *[6][6]float64   `json:"covariance"`      // likewise
	SizeCovariance *[params]float64 `json:"size_covariance"` // likewise
	ScaleFound     *Ratio           `json:"scale_found"`     // null: not asked
	Fit            []Fact           `json:"fit"`
	Landmarks      []Landmark       `json:"landmarks"`
	Cautions       []string         `json:"cautions"`
	Accepted       *Accepted        `json:"accepted"`
}

// MarshalJSON writes the file with the keys of [fileJSON].
func (f File) MarshalJSON() ([]byte, error) {
	t := f.Transform
	out := fileJSON{Format: f.Format, Program: f.Program, Kind: f.Kind, From: t.From, To: t.To, First: f.First, Second: f.Second, Rotation: t.Rotation,
		Translation: three(t.Translation), ScaleFound: f.ScaleFound, Fit: f.Fit, Landmarks: f.Landmarks, Cautions: f.Cautions, Accepted: f.Accepted}
	if s := t.Spread; s != nil {
		centre := three(s.Centre)
		out.Centre, out.Covariance, out.SizeCovariance = &centre, &[6][6]float64{}, &s.Cov[size]
		for i := range out.Covariance {
			copy(out.Covariance[i][:], s.Cov[i][:size])
		}
	}
	return json.Marshal(out)
}

func three(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

func vec(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }

// UnmarshalJSON reads what [File.MarshalJSON] wrote; another key is an error. It returns [ErrTransform] where the numbers are no
// rigid transform.
func (f *File) UnmarshalJSON(data []byte) error {
	var in fileJSON
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&in); err != nil {
		return err
	}
	t := Transform{From: in.From, To: in.To, Rotation: in.Rotation, Translation: vec(in.Translation)}
	switch {
	case in.Centre != nil && in.Covariance != nil && in.SizeCovariance != nil:
		t.Spread = &Spread{Centre: vec(*in.Centre)}
		for i, row := range in.Covariance {
			copy(t.Spread.Cov[i][:], row[:])
			t.Spread.Cov[i][size] = in.SizeCovariance[i]
		}
		t.Spread.Cov[size] = *in.SizeCovariance
	case in.Centre != nil || in.Covariance != nil || in.SizeCovariance != nil:
		return fmt.Errorf("%w: centre_mm, covariance and size_covariance are given together, or are all null", ErrTransform)
	}
	if err := t.Check(); err != nil {
		return err
	}
	*f = File{Format: in.Format, Program: in.Program, Kind: in.Kind, First: in.First, Second: in.Second, Transform: t, ScaleFound: in.ScaleFound,
		Fit: in.Fit, Landmarks: in.Landmarks, Cautions: in.Cautions, Accepted: in.Accepted}
	return nil
}
