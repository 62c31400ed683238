package dicomio

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"ridgerule/dicomio/internal/walk"
)

func (src *source) caution(code, text string) {
	src.cautions = append(src.cautions, Caution{code, text})
}

// problem notes a problem of the series. It is the series' own copy: a file may spoil several.
func (s *Series) problem(e *SeriesError) {
	own := *e
	s.Problems = append(s.Problems, &own)
}

// fileProblem notes what is wrong with one file. Of files that are wrong in the same way the first is told, and how many
// more there are.
func (s *Series) fileProblem(e *SeriesError) {
	for _, p := range s.Problems {
		if p.Code != e.Code || p.Attribute != e.Attribute {
			continue
		}
		if e.File == p.File {
			return
		}
		if p.others == nil {
			p.others = map[string]bool{}
		}
		p.others[e.File] = true
		return
	}
	s.problem(e)
}

// caution notes a caution, once for each code.
func (s *Series) caution(code, text string) {
	for _, c := range s.Cautions {
		if c.Code == code {
			return
		}
	}
	s.Cautions = append(s.Cautions, Caution{code, text})
}

// candidate reports whether the series may be the volume that was meant: a stack of original CT slices, fit or not.
func (s *Series) candidate() bool { return s.leftOut == "" && s.planes[0].kind() == "" }

// settle fills in everything that is said of the series, and judges it.
func (s *Series) settle(ctx context.Context) error {
	p := s.planes[0]
	s.UID, s.Identity = p.src.series, p.src.identity
	s.Study, s.FrameOfReference, s.Class, s.Synthetic = p.src.study, p.src.frameOfReference, p.src.class, s.synthetic()
	if kind := p.kind(); kind != "" {
		s.problem(kindProblem(kind, p))
	}
	if s.leftOut != "" {
		s.problem(&SeriesError{Code: "localizer", File: p.src.name, Problem: s.leftOut, Remedy: "measure the stack"})
	}
	s.judgeLost()
	s.judgeSources()
	s.judgeMixture()
	if err := s.judgeDuplicates(ctx); err != nil {
		return err
	}
	s.judgeGeometry()
	s.judgeValues()
	s.judgePadding()
	s.describe()
	return nil
}

// synthetic reports whether every file of the series says that there is no patient.
func (s *Series) synthetic() bool {
	return !slices.ContainsFunc(s.sources(true), func(src *source) bool { return !src.synthetic })
}

// judgeLost names images of the series that have no place, or do not fit the stack.
func (s *Series) judgeLost() {
	for _, p := range append(s.lost, s.planes...) {
		for _, e := range p.faults {
			s.fileProblem(e)
		}
	}
	for _, p := range s.misfits {
		q := s.planes[0]
		s.fileProblem(&SeriesError{Code: "odd_slice", File: p.src.name, Attribute: "PixelSpacing, Rows, Columns", Value: p.gridText(),
			Problem: "the series has " + q.gridText(), Remedy: "move this file out of the folder if it belongs to another series, or export the series again"})
	}
}

func (p *plane) gridText() string {
	return fmt.Sprintf(`%g\%g mm, %d × %d`, p.spacing[0], p.spacing[1], p.src.pixels.rows, p.src.pixels.columns)
}

func (s *Series) hasProblem(code, attribute string) bool {
	for _, p := range s.Problems {
		if p.Code == code && p.Attribute == attribute {
			return true
		}
	}
	return false
}

// judgeSources takes over what was wrong with each file, the first of each sort.
func (s *Series) judgeSources() {
	for _, src := range s.sources(true) {
		for _, e := range src.problems {
			s.fileProblem(e)
		}
		for _, c := range src.cautions {
			s.caution(c.Code, c.Text)
		}
		s.Facts.Lossy = s.Facts.Lossy || src.isLossy()
		if src.walked.Inferred {
			s.caution("syntax_inferred", called(src.name)+": no TransferSyntaxUID; the encoding was told from the data set")
		}
	}
	if s.Facts.Lossy {
		s.caution("lossy", "the pixels passed a lossy compression: edges may have moved")
	}
}

// sources returns the files of the series, each once; with all, those of lost slices too.
func (s *Series) sources(all bool) []*source {
	planes := s.planes
	if all {
		planes = append(append([]*plane(nil), s.planes...), s.lost...)
	}
	seen := map[*source]bool{}
	var out []*source
	for _, p := range planes {
		if !seen[p.src] {
			seen[p.src] = true
			out = append(out, p.src)
		}
	}
	return out
}

// judgeMixture refuses what must be one in a series and is not. A slice that says nothing contradicts nothing.
func (s *Series) judgeMixture() {
	first := s.planes[0]
	for _, one := range oneInSeries {
		s.judgeSame(one)
	}
	for _, p := range s.planes[1:] {
		if p.rescaled != first.rescaled && !s.hasProblem("mixed", "RescaleSlope") {
			s.problem(&SeriesError{Code: "mixed", File: p.src.name, Attribute: "RescaleSlope",
				Problem: "some slices state a rescale and some do not", Remedy: "export the series again"})
		}
		if !p.sameDirections(first, steadyDirection) {
			s.caution("unsteady_orientation", fmt.Sprintf("ImageOrientationPatient differs between slices by more than %g; the first slice's is used", steadyDirection))
		}
	}
}

// judgeSame refuses a series in which two slices state different values of one attribute.
func (s *Series) judgeSame(one single) {
	var first *plane
	for _, p := range s.planes {
		v := one.value(p)
		if first == nil && v != "" {
			first = p
		}
		if v == "" || v == one.value(first) {
			continue
		}
		e := &SeriesError{Code: "mixed", File: p.src.name, Attribute: one.attribute,
			Problem: fmt.Sprintf("%s has another: %s", called(first.src.name), one.so), Remedy: one.remedy}
		if one.told {
			e.Value, e.Problem = printable(v, 64), fmt.Sprintf("%s has %s: %s", called(first.src.name), printable(one.value(first), 64), one.so)
		}
		s.problem(e)
		return
	}
}

// judgeValues looks at rescale, padding and what else concerns grey values.
func (s *Series) judgeValues() {
	p := s.planes[0]
	low, high, least := math.Inf(1), math.Inf(-1), math.Inf(1)
	varies := false
	for _, q := range s.planes {
		varies = varies || q.rescale != p.rescale
		a, b := q.greyRange()
		low, high, least = min(low, a), max(high, b), min(least, math.Abs(q.rescale.Slope))
	}
	if varies {
		text := "the rescale differs from slice to slice; each is applied exactly"
		if (high-low)/least > 65535 {
			text += ". At the finest slope the whole range would need more than 16 bit"
		}
		s.caution("rescale_varies", text)
	}
	if p.stacked {
		s.caution("frame_direction", "nothing in the file says which way its frames are stacked; row × column direction is assumed, so the volume may be mirrored along its slices")
	}
	if s.UID == "" {
		s.caution("no_series_uid", "SeriesInstanceUID is missing; all such images were taken as one series")
	}
	if len(p.src.imageType) > 1 && strings.EqualFold(p.src.imageType[1], "SECONDARY") && p.kind() == "" {
		s.caution("secondary", "ImageType says SECONDARY: made after the examination")
	}
}

// greyRange returns the least and greatest grey value that the stored bits can mean, relative grey values without unit.
func (p *plane) greyRange() (low, high float64) {
	least, most := 0.0, math.Pow(2, float64(p.src.pixels.stored))-1
	if p.src.pixels.signed {
		most = math.Pow(2, float64(p.src.pixels.stored-1)) - 1
		least = -most - 1
	}
	a := p.rescale.Slope*least + p.rescale.Intercept
	b := p.rescale.Slope*most + p.rescale.Intercept
	return min(a, b), max(a, b)
}

// describe fills the facts.
func (s *Series) describe() {
	src, f := s.planes[0].src, &s.Facts
	f.Modality, f.SOPClass = printable(src.modality, 16), className(src.class)
	f.Encoding, f.Photometric = walk.Name(src.walked.Syntax), printable(src.pixels.photometric, 24)
	f.Invert = src.pixels.photometric == "MONOCHROME1"
	f.BitsStored, f.Signed = src.pixels.stored, src.pixels.signed
	f.RescaleType, f.KVP, f.SliceThickness = printable(s.planes[0].rescaleType, 16), src.kvp, src.thickness
	if !walk.Known(src.walked.Syntax) {
		f.Encoding = printable(f.Encoding, 64)
	}
	for _, src := range s.sources(false) {
		f.Files++
		f.Bytes += src.size
		if src.walked.Syntax != s.planes[0].src.walked.Syntax {
			s.caution("mixed_encoding", "the files are of more than one transfer syntax")
		}
	}
	if s.Grid.Check() == nil {
		f.Orientation = orientation(s.Grid)
	}
	for _, p := range s.planes {
		s.Images = append(s.Images, Image{File: p.src.name, Frame: p.frame, SOP: p.src.sop})
	}
}
