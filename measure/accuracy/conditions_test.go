package accuracy

import (
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/phantom"
)

// condition is a kind of scan on which measuring is hard.
type condition struct {
	name string
	fix  func(o phantom.Options) phantom.Options
}

// conditions are the artefacts of docs/accuracy-hard.md, each on jaws as drawn at one scan: voxels
// of 0.3 mm, blur 0.22 mm, noise 50, and an arch drawn without scatter of the hand, so that
// nothing but the artefact can hide in the uncertainty.
func conditions() []condition {
	hard := func(name string, change func(o *phantom.Options)) condition {
		return condition{name, func(o phantom.Options) phantom.Options {
			o.Scan.Voxel, o.Scan.Blur, o.Scan.Noise, o.Hand = [3]float64{0.3, 0.3, 0.3}, 0.22, 50, 0
			o.Shape.SinusFloor = max(o.Shape.SinusFloor, 0.5)
			change(&o)
			return o
		}}
	}
	streaks := func(size float64) func(*phantom.Options) {
		return func(o *phantom.Options) { o.Artefacts.Streaks, o.Teeth = size, beside(o.Jaw, o.Seed) }
	}
	motion := func(size float64) func(*phantom.Options) {
		return func(o *phantom.Options) {
			d := [3]r3.Vec{{X: 1}, {Y: 1}, {X: 0.6, Y: 0.6, Z: 0.53}}[o.Seed/12%3]
			o.Artefacts.Motion = r3.Scale(size, d)
		}
	}
	return []condition{
		hard("clean", func(*phantom.Options) {}),
		hard("streaks 100", streaks(100)),
		hard("streaks 300", streaks(300)),
		hard("streaks 800", streaks(800)),
		hard("motion 0.3 mm", motion(0.3)),
		hard("motion 0.6 mm", motion(0.6)),
		hard("motion 1.2 mm", motion(1.2)),
		hard("rings 60", func(o *phantom.Options) { o.Artefacts.Rings = 60 }),
		hard("rings 200", func(o *phantom.Options) { o.Artefacts.Rings = 200 }),
		hard("cupping 200", func(o *phantom.Options) { o.Artefacts.Cupping = 200 }),
		hard("cupping 600", func(o *phantom.Options) { o.Artefacts.Cupping = 600 }),
		hard("field cut to 14 mm", func(o *phantom.Options) { o.Artefacts.Field = 14 }),
		hard("noise 250", func(o *phantom.Options) { o.Scan.Noise = 250 }),
		hard("correlated noise 0.6", func(o *phantom.Options) { o.Scan.Noise, o.Scan.Correlation = 80, 0.6 }),
		hard("correlated noise 1.0", func(o *phantom.Options) { o.Scan.Noise, o.Scan.Correlation = 80, 1.0 }),
	}
}

// beside returns the tooth next to the site that the seed draws: it carries the metal crown.
func beside(kind phantom.Kind, seed uint64) []int {
	site := teeth[kind][int(seed/2)%len(teeth[kind])]
	if site%10 == 2 {
		return []int{site + 1}
	}
	return []int{site - 1}
}
