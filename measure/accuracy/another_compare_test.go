package accuracy_test

import (
	"bytes"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/accuracy"
	"ridgerule/measure/quantity"
)

// plan returns the plan of someone whose hand does not scatter: the site, the arch and the canal are
// exactly where they are.
func (j *jaw) plan() []byte {
	var b bytes.Buffer
	point := func(p r3.Vec) string { return fmt.Sprintf("[%.6f, %.6f, %.6f]", p.X, p.Y, p.Z) }
	name := map[bool]string{false: "mandible", true: "maxilla"}[j.maxilla]
	fmt.Fprintf(&b, "format: 1\ncase: another\njaw: %s\nocclusal: [%.9f, %.9f, %.9f]\n", name, j.up.X, j.up.Y, j.up.Z)
	fmt.Fprintf(&b, "scan: {scale_half_width: 0}\narch:\n  sd_mm: 0\n  points:\n")
	for _, p := range j.arch() {
		fmt.Fprintf(&b, "    - %s\n", point(p))
	}
	fmt.Fprintf(&b, "sites:\n  - {tooth: \"%s\", at: %s, depths_mm: [1, 3, 5, 7, 10]}\n", j.tooth, point(j.centre))
	if j.canal != nil {
		fmt.Fprintf(&b, "structures:\n  - name: canal\n    kind: canal\n    sd_mm: 0\n    radius_mm: %.6f\n    path:\n", j.canal.radius)
		for s := -20.0; s <= 20; s++ {
			fmt.Fprintf(&b, "      - %s\n", point(j.patient(j.canalAt(s), s)))
		}
	}
	return b.Bytes()
}

// A comparison holds a site's numbers against the jaw's truth.
type comparison struct {
	jaw   *jaw
	site  *measure.SiteResult
	blank accuracy.Error // of this jaw and scan, with no number yet
	all   []accuracy.Error
}

func (c *comparison) errors() []accuracy.Error {
	r := findRidge(c.jaw.section, r2.Add(c.jaw.bone[0], r2.Rotate(r2.Vec{Y: -3}, c.jaw.tilt, r2.Vec{})))
	for _, h := range []float64{1, 3, 5, 7, 10} {
		c.width(r, h)
	}
	c.height(r)
	c.add("ridge_tilt", "ridge_tilt", math.NaN(), r.tilt())
	end := math.Inf(1)
	if c.jaw.maxilla {
		end = c.jaw.floor + pastFloor
	}
	c.add("buccal_undercut", "buccal_undercut", math.NaN(), r.undercut(1, end))
	c.add("lingual_undercut", "lingual_undercut", math.NaN(), r.undercut(-1, end))
	return c.all
}

// width compares the width and the plates at depth h, mm. A chord that meets the cavity is left out: what
// is asked there is no ridge any more.
func (c *comparison) width(r ridge, h float64) {
	lo, hi, ok := r.chord(h)
	if !ok || !r.clear(h) {
		return
	}
	if h == 1 {
		c.add("ridge_width at 1 mm", "ridge_width", h, hi-lo)
		return
	}
	c.add("ridge_width at 3–10 mm", "ridge_width", h, hi-lo)
	lingual, buccal, ok := r.plates(h)
	if ok && lingual >= 0.8 {
		c.add("plate from 0.8 mm", "lingual_plate", h, lingual)
	}
	if ok && buccal >= 0.8 {
		c.add("plate from 0.8 mm", "buccal_plate", h, buccal)
	}
}

// height compares the height; one that ends at something else counts as no number.
func (c *comparison) height(r ridge) {
	want, to := r.height()
	e := c.add("ridge_height to "+to, "ridge_height", math.NaN(), want)
	row, _ := c.site.Lookup("ridge_height", math.NaN())
	ends := map[string]string{"sinus": "cavity", "nasal_floor": "cavity", "canal": "canal", "border": "border"}[row.To]
	if ends != to {
		e.Error, e.Why = math.NaN(), "ends at "+row.To
	}
}

// add compares the row of a quantity (at a depth, mm; NaN: has none) with its truth, mm or degrees.
func (c *comparison) add(name string, q quantity.Name, at, truth float64) *accuracy.Error {
	e := c.blank
	e.Quantity, e.At, e.Truth, e.Why = name, at, truth, c.site.Err
	if row, ok := c.site.Lookup(q, at); ok {
		e.Why = row.Note
		if row.Value != nil {
			e.Error, e.U = *row.Value-truth, row.Budget.U()
		}
	}
	c.all = append(c.all, e)
	return &c.all[len(c.all)-1]
}
