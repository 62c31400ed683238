package phantom

import (
	"context"
	"testing"
)

// Voxels a second of a whole jaw, per voxel figures comparable between sizes.
func BenchmarkVolume(b *testing.B) {
	for _, k := range []Kind{Mandible, Maxilla} {
		b.Run(k.String(), func(b *testing.B) {
			o := Demo(k)
			o.Scan.Voxel = [3]float64{0.2, 0.2, 0.2}
			o.Scan.Size[2] = 300

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
