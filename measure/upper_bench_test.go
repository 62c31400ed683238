package measure_test

import (
	"testing"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/phantom"
)

// BenchmarkUpperJaw measures every number of five sites of an upper jaw under sinus and nose, with sizes, in memory.
func BenchmarkUpperJaw(b *testing.B) {
	o := phantom.Demo(phantom.Maxilla)
	o.Sites = []int{16, 14, 12, 25, 26}
	o.Scan.Voxel = [3]float64{0.3, 0.3, 0.3}
	benchRun(b, o, func(*volume.Volume) {})
}
