package practice

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/phantom"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
)

// place puts field and sheet about the site.
func (it *Sealed) place() (*phantom.Jaw, phantom.Section, error) {
	o := it.Jaw
	o.Scan.Voxel = [3]float64{voxelSize, voxelSize, voxelSize}
	edge := fieldHigh * voxelSize
	o, err := o.Small(it.Sheet.Tooth, edge)
	if err != nil {
		return nil, phantom.Section{}, err
	}
	o.Scan.Size = [3]int{fieldWide, fieldWide, fieldHigh}
	o.Scan.Quick = true // an edge moves by 0.0007 mm at most, and an eye reads a tenth of one
	up := 2.2           // of the field's middle over that of [phantom.Options.Small]
	if o.Jaw == phantom.Maxilla {
		up = -up
	}
	centre := r3.Add(*o.Scan.Centre, r3.Vec{X: it.Offset[0], Y: it.Offset[1], Z: up + it.Offset[2]})
	o.Scan.Centre = &centre
	jaw, err := phantom.New(o)
	if err != nil {
		return nil, phantom.Section{}, err
	}
	sec, arc := jaw.SectionAt(jaw.Plan().Sites[0].At)
	f := reformat.Frame{Arc: arc, U: sec.Buccal, V: sec.Up, T: r3.Cross(sec.Buccal, sec.Up)}
	f.Origin = r3.Add(sec.Origin, f.Direction(UV{U: it.Offset[3] - pictureWide/2, V: it.Offset[4] - belowArch}))
	it.Sheet.Frame, it.Sheet.Jaw, it.Sheet.Width, it.Sheet.Height = f, o.Jaw, pictureWide, pictureTall
	if askedAlong(it.Sheet.Question.Quantity) {
		it.lieAlong(jaw, sec, arc)
	}
	return jaw, sec, nil
}

// solve works out the truth of an item, or says why it has none.
func (it *Sealed) solve() error {
	jaw, sec, err := it.place()
	if err != nil {
		return err
	}
	if it.Sheet.View != Across {
		return it.solveAlong(jaw)
	}
	t, err := jaw.TruthIn(sec, sec.Origin, nil)
	if err != nil {
		return err
	}
	if it.Truth, err = answer(it.Sheet.Question, t); err != nil {
		return err
	}
	it.Profile = profileOf(jaw, sec, it.Sheet.Frame, t)
	it.U = scanBudget(jaw.Options(), it.Sheet.Question).Std()
	it.Traps = trapsOf(it)
	return it.shown()
}

// shown reports a site whose answer does not lie on its sheet.
func (it *Sealed) shown() error {
	for _, p := range it.trueLine() {
		if p.U < 1 || p.V < 1 || p.U > it.Sheet.Width-1 || p.V > it.Sheet.Height-1 {
			return fmt.Errorf("practice: the answer lies at (%.1f, %.1f) mm, off the sheet", p.U, p.V)
		}
	}
	return nil
}

// answer finds a question's answer in the truth of its section.
func answer(q Question, t phantom.AxisTruth) (float64, error) {
	switch q.Quantity {
	case quantity.RidgeTilt:
		return t.Tilt, nil
	case quantity.LingualUndercut:
		if t.Lingual.Depth >= 0.5 {
			return t.Lingual.Depth, nil
		}
	case quantity.RidgeHeight:
		for _, h := range t.Heights {
			if h.To == q.To && h == t.Heights[0] {
				return h.Height, nil
			}
		}
	default:
		for _, w := range t.Widths {
			if w.At != q.At {
				continue
			}
			plate := map[quantity.Name]*float64{quantity.RidgeWidth: &w.Width, quantity.BuccalPlate: w.Buccal, quantity.LingualPlate: w.Lingual}[q.Quantity]
			if plate != nil {
				return *plate, nil
			}
		}
	}
	return 0, fmt.Errorf("practice: no %s here", q)
}

// nearSheet is how far off its sheet's section the voxels lie that the section is sampled from, mm: within one cell of 0.3 mm,
// and half as much again.
const nearSheet = 0.8

// Section makes the voxels of an item from which its sheet's section is sampled, the same as [Sealed.Scan] makes; all others
// mean nothing. It is several times faster.
func (it *Sealed) Section(ctx context.Context, progress func(done float64)) (*volume.Volume, error) {
	jaw, _, err := it.place()
	if err != nil {
		return nil, err
	}
	f := it.Sheet.Frame
	v, err := jaw.VolumeIn(ctx, phantom.Slab{At: f.Origin, Normal: f.T, Half: nearSheet}, progress)
	if err == nil {
		v.Blank = nil // the section is sampled as that of a whole scan is, to the last bit
	}
	return v, err
}

// Scan makes the voxels of an item. It returns ctx's error when ctx ends first.
func (it *Sealed) Scan(ctx context.Context, progress func(done float64)) (*volume.Volume, error) {
	jaw, _, err := it.place()
	if err != nil {
		return nil, err
	}
	return jaw.Volume(ctx, progress)
}
