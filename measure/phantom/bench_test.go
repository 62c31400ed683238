package phantom

import (
	"context"
	"testing"

	"ridgerule/dicomio/volume"
)

// A whole jaw of 400×400×300 voxels at 0.2 mm with blur 0.2 mm, texture and noise.
func BenchmarkVolume(b *testing.B) {
	for _, k := range []Kind{Mandible, Maxilla} {
		b.Run(k.String(), func(b *testing.B) {
			o := Demo(k)
			j, err := New(o)
			if err != nil {
				b.Fatal(err)
			}
			n := o.withDefaults().Scan.Size
			for b.Loop() {
				if _, err := j.Volume(context.Background(), nil); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N*n[0]*n[1]*n[2])/b.Elapsed().Seconds()/1e6, "Mvoxel/s")
		})
	}
}

// The truth of one site: axes, widths, plates, heights, undercuts, clearances.
func BenchmarkTruth(b *testing.B) {
	o := small(b, Demo(Mandible), 36, 20)
	j := must[*Jaw](b)(New(o))
	for b.Loop() {
		must[Truth](b)(j.Truth())
	}
}

// One site's small scan: a 20 mm cube at 0.25 mm.
func BenchmarkSmallVolume(b *testing.B) {
	o := Demo(Mandible)
	o.Scan.Voxel = [3]float64{0.25, 0.25, 0.25}
	j := must[*Jaw](b)(New(small(b, o, 36, 20)))
	for b.Loop() {
		must[*volume.Volume](b)(j.Volume(context.Background(), nil))
	}
}
