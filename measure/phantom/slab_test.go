package phantom

import (
	"context"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Within a slab, upright or leaning, of either jaw, finely and coarsely blurred, moved or not, every voxel is that of the whole
// volume, and all others are blank.
func TestSlabIsOfTheWholeVolume(t *testing.T) {
	for name, o := range map[string]Options{
		"mandible":       {Scan: Scan{Voxel: [3]float64{0.4, 0.4, 0.4}, Blur: 0.25, Noise: 50}},
		"coarse maxilla": {Jaw: Maxilla, Scan: Scan{Voxel: [3]float64{0.4, 0.4, 0.4}, Blur: 0.45, Noise: 20}, Shape: Shape{SinusDepth: 8}},
		"quick":          {Scan: Scan{Voxel: [3]float64{0.4, 0.4, 0.4}, Blur: 0.25, Noise: 50, Quick: true}},
		"moved":          {Scan: Scan{Voxel: [3]float64{0.5, 0.4, 0.3}, Blur: 0.3}, Artefacts: Artefacts{Motion: r3.Vec{X: 4, Y: 3}}},
	} {
		tooth := map[Kind]int{Mandible: 36, Maxilla: 26}[o.Jaw]
		j, whole := scanOf(t, small(t, o, tooth, 16))
		middle := whole.Patient(volume.Index{I: float64(whole.Size[0]) / 2, J: float64(whole.Size[1]) / 2, K: float64(whole.Size[2]) / 2})
		for _, n := range []r3.Vec{{X: 1}, {X: 0.6, Y: -0.8}, r3.Unit(r3.Vec{X: 1, Y: 2, Z: 2})} {
			s := Slab{middle, n, 0.6}
			part := must[*volume.Volume](t)(j.VolumeIn(context.Background(), s, nil))
			inside, wrong, drawn := 0, 0, 0
			for i, v := range part.Stored {
				x, y, z := i%part.Size[0], i/part.Size[0]%part.Size[1], i/part.Size[0]/part.Size[1]
				switch {
				case s.off(part.Patient(volume.Index{I: float64(x), J: float64(y), K: float64(z)})) <= s.Half:
					inside++
					if v != whole.Stored[i] {
						wrong++
					}
				case v != *part.Blank:
					drawn++
				}
			}
			if wrong > 0 || drawn > 0 || inside < 500 {
				t.Errorf("%s, normal %v: of %d voxels in the slab %d differ; %d outside are not blank", name, n, inside, wrong, drawn)
			}
		}
	}
}
