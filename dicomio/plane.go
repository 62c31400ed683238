package dicomio

import (
	"fmt"
	"math"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// plane is one image: a frame of a file and its place in the patient.
//
//	P = position + i·spacing[1]·row + j·spacing[0]·column
//
// Source: DICOM PS3.3 C.7.6.2.1.1. PixelSpacing is row spacing, then column spacing (10.7.1.3).
type plane struct {
	src   *source
	frame int // 0-based

	position    r3.Vec     // centre of the first voxel, mm
	quantum     r3.Vec     // last decimal that the file gives of each coordinate, mm
	row, column r3.Vec     // unit vectors: direction of growing column index, of growing row index
	spacing     [2]float64 // between rows, between columns, mm
	rescale     volume.Rescale
	rescaled    bool // the file states the rescale
	stacked     bool // placed by its number in the file, see stack
	rescaleType string
	frameType   []string
	faults      []*SeriesError // why its place or values are unknown
}

// notOrthonormal is how far |row|, |column| and row·column may be from 1, 1 and 0.
// At 1e-3 a 100 mm field is off by at most 0.1 mm before it is put right; beyond that the file means something else.
const notOrthonormal = 1e-3

// planes reads the place of every frame of src. Each attribute is looked for in the frame's own functional groups, then
// in the shared ones, then in the data set itself.
func planes(src *source, a attrs) []*plane {
	perFrame := a.items(tag.PerFrameFunctionalGroupsSequence)
	shared := a.item(tag.SharedFunctionalGroupsSequence)
	if len(perFrame) > 0 && len(perFrame) != src.frames {
		src.fault(&SeriesError{Code: "bad_attribute", Attribute: "NumberOfFrames", Value: fmt.Sprint(src.frames),
			Problem: fmt.Sprintf("there are %d per-frame functional groups", len(perFrame)), Remedy: "export the series again"})
		return nil
	}
	out := make([]*plane, src.frames)
	if len(perFrame) == 0 {
		one := readPlane(src, 0, groups{shared: shared, root: a})
		for f := range out {
			p := *one
			p.frame, out[f] = f, &p
		}
		if src.frames > 1 {
			stack(out, a)
		}
		return out
	}
	for f := range out {
		out[f] = readPlane(src, f, groups{own: perFrame[f], shared: shared, root: a})
	}
	return out
}

// groups are the places an attribute of one frame may stand.
type groups struct{ own, shared, root attrs }

// find returns the item that holds attribute t of functional group group, or the data set.
func (g groups) find(group, t tag.Tag) attrs {
	for _, holder := range []attrs{g.own, g.shared} {
		if item := holder.item(group); item != nil && item.texts(t) != nil {
			return item
		}
	}
	return g.root
}

func readPlane(src *source, f int, g groups) *plane {
	p := &plane{src: src, frame: f}
	p.readPosition(g.find(tag.PlanePositionSequence, tag.ImagePositionPatient))
	p.readOrientation(g.find(tag.PlaneOrientationSequence, tag.ImageOrientationPatient))
	measures := g.find(tag.PixelMeasuresSequence, tag.PixelSpacing)
	p.readSpacing(measures, g.root)
	if src.thickness == 0 {
		src.thickness = measures.optional(tag.SliceThickness)
	}
	p.readRescale(g.find(tag.PixelValueTransformationSequence, tag.RescaleSlope))
	p.refuseTable(g)
	for _, group := range []tag.Tag{tag.CTImageFrameTypeSequence, tag.XRay3DFrameTypeSequence} {
		if v := g.find(group, tag.FrameType).texts(tag.FrameType); v != nil {
			p.frameType = v
		}
	}
	return p
}

func (p *plane) fault(e *SeriesError) {
	e.File = p.src.name
	p.faults = append(p.faults, e)
}

func (p *plane) readPosition(a attrs) {
	v, err := a.decimals(tag.ImagePositionPatient, "ImagePositionPatient", 3)
	if err != nil {
		if err.Code == "missing_attribute" {
			err.Remedy = "export the series again as CT images; a slice is never placed by SliceLocation or instance number"
		}
		p.fault(err)
		return
	}
	p.position = r3.Vec{X: v[0], Y: v[1], Z: v[2]}
	texts := a.texts(tag.ImagePositionPatient)
	p.quantum = r3.Vec{X: quantum(texts[0]), Y: quantum(texts[1]), Z: quantum(texts[2])}
}

// quantum returns the value of the last decimal that text gives, in the unit of text (mm for positions); never more than
// 0.01: coarser rounding is not excused.
func quantum(text string) float64 {
	if strings.ContainsAny(text, "eE") {
		return 1e-6
	}
	_, fraction, _ := strings.Cut(text, ".")
	return math.Min(0.01, math.Pow(10, -float64(len(fraction))))
}

func (p *plane) readOrientation(a attrs) {
	v, err := a.decimals(tag.ImageOrientationPatient, "ImageOrientationPatient", 6)
	if err != nil {
		p.fault(err)
		return
	}
	row, column := r3.Vec{X: v[0], Y: v[1], Z: v[2]}, r3.Vec{X: v[3], Y: v[4], Z: v[5]}
	off := max(math.Abs(r3.Norm(row)-1), math.Abs(r3.Norm(column)-1), math.Abs(r3.Dot(row, column)))
	if !(off <= notOrthonormal) {
		p.fault(&SeriesError{Code: "bad_orientation", Attribute: "ImageOrientationPatient",
			Value:   printable(a.whole(tag.ImageOrientationPatient), 64),
			Problem: fmt.Sprintf("its two directions are not unit vectors at a right angle (off by %.4f, at most %g)", off, notOrthonormal),
			Remedy:  "export the series again"})
		return
	}
	p.row, p.column = orthonormal(row, column)
}

// orthonormal returns the two unit vectors at a right angle that are nearest to row and column, sharing the correction
// between them; unitless directions. Twice, for the first leaves an error of its square.
func orthonormal(row, column r3.Vec) (r3.Vec, r3.Vec) {
	for range 2 {
		half := r3.Dot(row, column) / 2
		row, column = r3.Unit(r3.Sub(row, r3.Scale(half, column))), r3.Unit(r3.Sub(column, r3.Scale(half, row)))
	}
	return row, column
}

func (p *plane) readSpacing(a, root attrs) {
	v, err := a.decimals(tag.PixelSpacing, "PixelSpacing", 2)
	if err != nil {
		if err.Code == "missing_attribute" && root.texts(tag.ImagerPixelSpacing) != nil {
			err.Problem = "is missing, and ImagerPixelSpacing is no substitute: it is the distance on the detector, larger than in the patient"
		}
		p.fault(err)
		return
	}
	for _, mm := range v {
		if !(mm > 0) {
			p.fault(&SeriesError{Code: "bad_attribute", Attribute: "PixelSpacing", Value: printable(a.whole(tag.PixelSpacing), 64),
				Problem: "must be greater than 0", Remedy: "export the series again; a value is never guessed"})
			return
		}
	}
	p.spacing = [2]float64{v[0], v[1]}
}

// readRescale reads slope and intercept; both missing means the values as stored.
func (p *plane) readRescale(a attrs) {
	p.rescale = volume.Rescale{Slope: 1}
	p.rescaleType = a.text(tag.RescaleType)
	if a.texts(tag.RescaleSlope) == nil && a.texts(tag.RescaleIntercept) == nil {
		return
	}
	p.rescaled = true
	slope, err := a.decimals(tag.RescaleSlope, "RescaleSlope", 1)
	if err != nil {
		p.fault(err)
		return
	}
	intercept, err := a.decimals(tag.RescaleIntercept, "RescaleIntercept", 1)
	if err != nil {
		p.fault(err)
		return
	}
	p.rescale = volume.Rescale{Slope: slope[0], Intercept: intercept[0]}
	if slope[0] == 0 {
		p.fault(&SeriesError{Code: "bad_attribute", Attribute: "RescaleSlope", Value: "0",
			Problem: "would make every grey value the same", Remedy: "export the series again"})
	}
}

// refuseTable refuses a plane whose grey values are made by a table. Slope and intercept are no substitute for it, and
// the stored values no grey values: a table may even turn them round.
//
// Source: DICOM PS3.3 C.11.1 (Modality LUT).
func (p *plane) refuseTable(g groups) {
	for _, holder := range []attrs{g.root, g.own, g.shared, g.own.item(tag.PixelValueTransformationSequence), g.shared.item(tag.PixelValueTransformationSequence)} {
		if len(holder.items(tag.ModalityLUTSequence)) > 0 {
			p.fault(&SeriesError{Code: "modality_lut", Attribute: "ModalityLUTSequence",
				Problem: "grey values are made by a table, which is not applied here: as stored they would be wrong",
				Remedy:  "export the series again with RescaleSlope and RescaleIntercept, as CT images have them"})
			return
		}
	}
}

// stack places the frames of a multi-frame file without functional groups: from the first position, a SpacingBetweenSlices
// apart, along row × column. Nothing in such a file states the direction; see the caution frame_direction.
func stack(frames []*plane, root attrs) {
	v, err := root.decimals(tag.SpacingBetweenSlices, "SpacingBetweenSlices", 1)
	if err == nil && !(v[0] > 0) {
		err = &SeriesError{Code: "bad_attribute", Attribute: "SpacingBetweenSlices", Value: printable(root.whole(tag.SpacingBetweenSlices), 24),
			Problem: "must be greater than 0 to place the frames"}
	}
	for f, p := range frames {
		if err != nil {
			err.Remedy = "export the series again as one file a slice, or as Enhanced CT; SliceThickness is no substitute"
			p.fault(err)
			continue
		}
		p.stacked = true
		p.position = r3.Add(p.position, r3.Scale(float64(f)*v[0], r3.Cross(p.row, p.column)))
	}
}

// normal returns the direction in which slices are counted: row × column, a unit vector.
func (p *plane) normal() r3.Vec { return r3.Cross(p.row, p.column) }
