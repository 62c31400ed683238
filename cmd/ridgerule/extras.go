package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"strings"

	"github.com/spf13/pflag"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/fit"
	"ridgerule/measure/reformat"
	"ridgerule/measure/report"
	"ridgerule/measure/solid"
)

// extraFlags ask for outputs beside the standard ones.
type extraFlags struct {
	pdf                            string
	daySheet, dicom, stl, identity bool
	key                            pseudonymKey
}

func (k *extraFlags) add(f *pflag.FlagSet) {
	f.StringVar(&k.pdf, "pdf", "", "write report.pdf on `a4|letter`")
	f.BoolVar(&k.daySheet, "day-sheet", false, "write day-sheet.pdf: the sites in large letters for the day of surgery")
	f.BoolVar(&k.dicom, "dicom", false, "write dicom/: a structured report and the drawings as secondary captures, de-identified")
	f.BoolVar(&k.identity, "with-identity", false, "with --dicom: name the patient and the real UIDs in dicom/ and in identity.json")
	f.Var(&k.key, "pseudonym-key", "give the patient in dicom/ a pseudonym made with the key in `FILE` (32 bytes or more) as PatientID; else it is the case's label")
}

func (k *extraFlags) paper() report.Paper {
	return map[string]report.Paper{"a4": report.A4, "letter": report.Letter}[strings.ToLower(k.pdf)]
}

func (k *extraFlags) check() error {
	switch {
	case k.pdf != "" && k.paper() == "":
		return usagef("--pdf %q is neither a4 nor letter", k.pdf)
	case k.identity && !k.dicom:
		return usagef("--with-identity names the patient in what --dicom writes; add --dicom or leave it")
	case k.identity && k.key.key != nil:
		return usagef("--with-identity names the patient whom --pseudonym-key hides; leave one of them")
	}
	return nil
}

// checked checks the flags, and says when others can read the key's file.
func (a *app) checked(k *extraFlags) error {
	if k.key.bared {
		a.say("the file of --pseudonym-key can be read by others; chmod 600 it")
	}
	return k.check()
}

// write makes the case's outputs in the growing folder, with what was asked for beside the standard ones.
func (k *extraFlags) write(f *folder, c fullCase) error {
	x := report.Extra{PDF: k.paper(), DaySheet: k.daySheet}
	if k.dicom {
		src := c.Provenance.Source
		if k.identity {
			src = c.source
		}
		x.DICOM = &src
	}
	if err := report.Write(c.Case, x, f.create); err != nil || !k.identity {
		return err
	}
	return f.write("identity.json", func(w io.Writer) error { return encode(w, identified{1, c.Result.Scan.SeriesHash, c.source}) })
}

// identified is identity.json: who the patient is, kept apart from result.json so that this one can
// always be given away.
type identified struct {
	Format int            `json:"format"`
	Series string         `json:"series_hash"` // of the result that it belongs to
	Source dicomio.Source `json:"source"`
}

// identityIn reads identity.json of a case's folder: of the patient on whose series the result was measured, and of
// no other.
func identityIn(folder fs.FS, series string) (dicomio.Source, error) {
	data, err := fs.ReadFile(folder, "identity.json")
	if errors.Is(err, fs.ErrNotExist) {
		return dicomio.Source{}, usagef("--with-identity needs identity.json beside the result, and so does --pseudonym-key: give --dicom --with-identity to ridgerule measure. A result measured with --pseudonym-key keeps its pseudonym without the flag")
	}
	var file identified
	if err == nil {
		err = json.Unmarshal(data, &file)
	}
	if err != nil || file.Format != 1 || file.Source.Identity == nil {
		return dicomio.Source{}, usagef("identity.json beside the result is none of ridgerule measure; measure again")
	}
	if file.Series != series {
		return dicomio.Source{}, usagef("identity.json beside the result is of another series than the result; measure again with --dicom --with-identity")
	}
	return file.Source, nil
}

// The bone's surface is drawn through blocks around the sites.
const (
	alongArch = 6.0 // mm of the arch to either side of a section
	finest    = 0.5 // mm between grey values: finer makes files too large to hand on
	sides     = 64  // of an implant's prism: at most 0.003 mm within 5 mm of diameter
)

// surfaces draws surfaces/implant-SITE.stl and, where there is one, surfaces/bone-SITE.stl, if they are asked for.
func (k *extraFlags) surfaces(c fullCase) (out []report.File, err error) {
	if !k.stl {
		return nil, nil
	}
	names := report.SiteFiles(c.Result)
	for i, s := range c.Result.Sites {
		drawn := map[string]*solid.Surface{"bone": c.bone[s.ID]}
		if s.Implant != nil {
			drawn["implant"] = report.ImplantSurface(*s.Implant, sides)
		}
		for _, kind := range []string{"bone", "implant"} {
			if drawn[kind] == nil || len(drawn[kind].Triangles) == 0 {
				continue
			}
			name := fmt.Sprintf("surfaces/%s-%s.stl", kind, names[i])
			var b bytes.Buffer
			if err := solid.WriteSTL(&b, drawn[kind]); err != nil {
				return nil, fmt.Errorf("%s: %w", name, err)
			}
			out = append(out, report.File{Name: name, Data: b.Bytes()})
		}
	}
	return out, nil
}

// surfacesIn reads the bone's surfaces kept beside a result: no volume is there to draw them from.
func surfacesIn(folder fs.FS, r *measure.Result) (map[string]*solid.Surface, error) {
	out := map[string]*solid.Surface{}
	for i, name := range report.SiteFiles(r) {
		f, err := folder.Open("surfaces/bone-" + name + ".stl")
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		s, err := solid.ReadSTL(f, -1)
		f.Close()
		if err != nil {
			return nil, usagef("surfaces/bone-%s.stl: %w", name, err)
		}
		out[r.Sites[i].ID] = s
	}
	return out, nil
}

// boneAround returns the surface of the bone around each site that has an outline, drawn at the grey
// value on which the outlines lie in the median: half way from soft tissue to cortical bone.
func boneAround(v *volume.Volume, r *measure.Result) map[string]*solid.Surface {
	var onEdge []float64
	for _, s := range r.Sites {
		for _, p := range s.Outline {
			if g := v.At(s.Frame.Patient(p)); !math.IsNaN(g) {
				onEdge = append(onEdge, g)
			}
		}
	}
	if len(onEdge) == 0 {
		return nil
	}
	level := fit.Quantile(onEdge, 0.5)
	out := map[string]*solid.Surface{}
	for _, s := range r.Sites {
		if len(s.Outline) > 0 {
			out[s.ID] = report.BoneSurface(blockAround(v, s), level)
		}
	}
	return out
}

// blockAround samples the volume in a box along the site's own directions.
func blockAround(v *volume.Volume, s measure.SiteResult) report.Block {
	d := v.Spacing()
	step := math.Max(finest, min(d[0], d[1], d[2]))
	low, high := extent(s)
	n := int(math.Ceil(alongArch / step))
	b := report.Block{Step: [3]r3.Vec{r3.Scale(step, s.Frame.U), r3.Scale(-step, s.Frame.V), r3.Scale(step, s.Frame.T)}}
	for k := -n; k <= n; k++ {
		frame := s.Frame
		frame.Origin = r3.Add(frame.Origin, r3.Scale(step*float64(k), frame.T))
		p := reformat.Resample(v, frame, low, high, step)
		if k == -n {
			b.Origin, b.Size = frame.Patient(p.Corner), [3]int{p.Width, p.Height, 2*n + 1}
		}
		b.Grey = append(b.Grey, p.Grey...)
	}
	return b
}
