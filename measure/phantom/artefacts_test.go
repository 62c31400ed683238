package phantom

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// pair returns the scans of a cube of edge mm of a jaw without and with a change.
func pair(t *testing.T, edge float64, change func(*Options)) (j *Jaw, a, b *volume.Volume) {
	t.Helper()
	o := Demo(Mandible)
	o.Scan.Noise, o.Scan.Voxel = 0, [3]float64{0.5, 0.5, 0.5}
	o.Scan.Blur = 0.5
	o = small(t, o, 35, edge)
	_, a = scanOf(t, o)
	change(&o)
	j, b = scanOf(t, o)
	return j, a, b
}

// each calls f for every voxel with its distance from the field's axis, mm.
func each(v *volume.Volume, f func(i, j, k int, r float64)) {
	sp := v.Spacing()
	for k := range v.Size[2] {
		for j := range v.Size[1] {
			for i := range v.Size[0] {
				f(i, j, k, math.Hypot((float64(i)-float64(v.Size[0]-1)/2)*sp[0], (float64(j)-float64(v.Size[1]-1)/2)*sp[1]))
			}
		}
	}
}

func TestCuppingTakesItsAmountAtTheAxisAndNothingAtTheRim(t *testing.T) {
	_, a, b := pair(t, 13, func(o *Options) { o.Artefacts.Cupping = 200 })
	rim := 6.5 // half the cube's edge between voxel centres
	each(a, func(i, j, k int, r float64) {
		want := -200 * max(0, 1-r*r/(rim*rim))
		if got := b.Grey(i, j, k) - a.Grey(i, j, k); math.Abs(got-want) > 1.01 {
			t.Fatalf("at %.1f mm: %.1f, want %.1f", r, got, want)
		}
	})
}

func TestRingsAreTheSameAllRoundTheAxis(t *testing.T) {
	_, a, b := pair(t, 13, func(o *Options) { o.Artefacts.Rings = 100 })
	ring := map[int]float64{}
	var low, high float64
	each(a, func(i, j, k int, r float64) {
		got := b.Grey(i, j, k) - a.Grey(i, j, k)
		low, high = min(low, got), max(high, got)
		cell := int(r / 0.4)
		if old, ok := ring[cell]; ok && math.Abs(old-got) > 1.01 { // rounding twice
			t.Fatalf("ring %d has %.0f and %.0f", cell, old, got)
		}
		ring[cell] = got
	})
	if low > -50 || high < 50 {
		t.Errorf("rings reach from %.0f to %.0f, want nearly ±100", low, high)
	}
}

func TestStreaksFadeWithTheDistanceFromTheMetal(t *testing.T) {
	j, a, b := pair(t, 24, func(o *Options) { o.Artefacts.Streaks = 300 })
	metal := j.toPatient(j.shape.metals[0].path[1])
	var near, far, n, m float64
	each(a, func(i, jj, k int, _ float64) {
		p := a.Patient(volume.Index{I: float64(i), J: float64(jj), K: float64(k)})
		d := b.Grey(i, jj, k) - a.Grey(i, jj, k)
		switch up := math.Abs(p.Z - metal.Z); {
		case r3.Norm(r3.Sub(p, metal)) < 8: // metal itself
		case up < 4:
			near, n = near+d*d, n+1
		case up > 18:
			far, m = far+d*d, m+1
		}
	})
	if rms := math.Sqrt(near / n); rms < 50 || rms > 400 {
		t.Errorf("streaks in the metal's slices: %.0f rms", rms)
	}
	if rms := math.Sqrt(far / m); rms > 5 {
		t.Errorf("streaks 18 mm away from the metal's slices: %.0f rms", rms)
	}
}

// With motion the scan is the mean of two still scans, each shifted by half of it.
func TestMotionIsTheMeanOfTwoShiftedCopies(t *testing.T) {
	shift := r3.Vec{X: 0.8, Y: -0.5, Z: 0.2}
	var o Options
	_, _, b := pair(t, 13, func(p *Options) { p.Artefacts.Motion = shift; o = *p })
	still := func(f float64) *volume.Volume {
		q := o
		q.Artefacts.Motion = r3.Vec{}
		c := r3.Add(*o.Scan.Centre, r3.Scale(f, shift))
		q.Scan.Centre = &c
		_, v := scanOf(t, q)
		return v
	}
	x, y := still(0.5), still(-0.5)
	each(b, func(i, j, k int, _ float64) {
		if want := (x.Grey(i, j, k) + y.Grey(i, j, k)) / 2; math.Abs(b.Grey(i, j, k)-want) > 1.01 {
			t.Fatalf("voxel %d %d %d: %.0f, want %.1f", i, j, k, b.Grey(i, j, k), want)
		}
	})
}

func TestFieldIsBlankOutsideItsCylinder(t *testing.T) {
	_, a, b := pair(t, 13, func(o *Options) { o.Artefacts.Field = 10 })
	each(a, func(i, j, k int, r float64) {
		got := b.Grey(i, j, k)
		if r > 5.001 && !math.IsNaN(got) || r < 4.999 && got != a.Grey(i, j, k) {
			t.Fatalf("at %.2f mm: %v, was %v", r, got, a.Grey(i, j, k))
		}
	})
}

func TestTextureRoughensTheMarrowOnly(t *testing.T) {
	var j *Jaw
	j, a, b := pair(t, 13, func(o *Options) { o.Grey.Texture = 0 })
	var w place
	var sum, n float64
	each(a, func(i, jj, k int, _ float64) {
		p := a.Patient(volume.Index{I: float64(i), J: float64(jj), K: float64(k)})
		d := a.Grey(i, jj, k) - b.Grey(i, jj, k)
		if j.signed(outerSurface, p, &w) > 1.6 && d != 0 {
			t.Fatalf("texture %.0f outside the bone", d)
		}
		if j.signed(endostealSurface, p, &w) < -1.6 {
			sum, n = sum+d*d, n+1
		}
	})
	if rms := math.Sqrt(sum / n); n < 100 || rms < 10 || rms > 60 { // SD 60 before the blur
		t.Errorf("texture %.1f rms in %g voxels", rms, n)
	}
}
