package phantom

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// What follows draws a scan as plainly as it can be written down: every point on its own, every
// plane and every sum in full, nothing shared, nothing skipped but the tiles in which no surface
// lies. Volume must give the same voxels, bit for bit.

// plainVolume is the plain form of Volume's voxels.
func plainVolume(j *Jaw) []int16 {
	g, ln := j.grid, newKernel(j.grid, j.opt.Scan.Blur, j.opt.Scan.Quick)
	n := normal(g)
	along := r3.Dot(g.Step[2], n)
	step := r3.Scale(along/float64(ln.fine[2]), n)
	sheared := r3.Norm(r3.Sub(g.Step[2], r3.Scale(along, n))) >= 1e-9
	shifts := []r3.Vec{{}}
	if d := j.opt.Artefacts.Motion; d != (r3.Vec{}) {
		shifts = []r3.Vec{r3.Scale(0.5, d), r3.Scale(-0.5, d)}
	}
	f := newAcquisition(j)
	size := g.Size[0] * g.Size[1]
	out := make([]int16, size*g.Size[2])
	known := map[[3]int][]float32{}
	for k := range g.Size[2] {
		grey := make([]float32, size)
		for t, w := range ln.weights[2] {
			from, q := 0, k*ln.fine[2]+t-len(ln.weights[2])/2
			if sheared {
				from, q = k, t-len(ln.weights[2])/2
			}
			at := r3.Add(g.Patient(volume.Index{K: float64(from)}), r3.Scale(float64(q), step))
			for s, d := range shifts {
				key := [3]int{from, q, s}
				if known[key] == nil {
					known[key] = plainPlane(j, ln, r3.Add(at, d))
				}
				w := float32(w / float64(len(shifts)))
				for i, v := range known[key] {
					grey[i] += w * v
				}
			}
		}
		plainAcquisition(f, k, grey, out[k*size:(k+1)*size])
	}
	return out
}

// plainPlane is the lattice plane through at, drawn and blurred in itself: rows × columns of voxels.
func plainPlane(j *Jaw, ln kernel, at r3.Vec) []float32 {
	g, kx, ky := j.grid, ln.weights[0], ln.weights[1]
	columns, rows := (g.Size[0]-1)*ln.fine[0]+len(kx), (g.Size[1]-1)*ln.fine[1]+len(ky)
	ex := j.toJaw(r3.Scale(1/float64(ln.fine[0]), g.Step[0]))
	ey := j.toJaw(r3.Scale(1/float64(ln.fine[1]), g.Step[1]))
	point := func(o r3.Vec, i, j float64) r3.Vec {
		return r3.Vec{X: o.X + i*ex.X + j*ey.X, Y: o.Y + i*ex.Y + j*ey.Y, Z: o.Z + i*ex.Z + j*ey.Z}
	}
	origin := point(j.toJaw(at), -float64(len(kx)/2), -float64(len(ky)/2))
	value := make([]float32, columns*rows)
	var draw func(i, jj, size int, m mask, l layers)
	draw = func(i, jj, size int, m mask, l layers) {
		textured := true
		if size > 2 {
			c := float64(size-1) / 2
			plainFill(j.shape, point(origin, float64(i)+c, float64(jj)+c), m, &l)
			m = j.shape.near(&l, m, c*math.Hypot(ln.pitch[0], ln.pitch[1])+4.1*ln.p)
			textured = l.d[lMarrow] < 0
			if m != 0 {
				for q, h := 0, size/2; q < 4; q++ {
					draw(i+q%2*h, jj+q/2*h, h, m, l)
				}
				return
			}
		}
		for y := jj; y < min(jj+size, rows); y++ {
			for x := i; x < min(i+size, columns); x++ {
				p := point(origin, float64(x), float64(y))
				plainFill(j.shape, p, m, &l)
				t := j.texture
				if !textured {
					t = nil
				}
				value[y*columns+x] = float32(plainPaint(j.shape, &l, &j.opt.Grey, ln.p, t, p))
			}
		}
	}
	for y := 0; y < rows; y += 32 {
		for x := 0; x < columns; x += 32 {
			draw(x, y, 32, 1<<lCount-1, layers{})
		}
	}
	return plainBlur(value, columns, ln, g.Size)
}

// plainBlur blurs along rows, in float64, then along columns, in float32.
func plainBlur(value []float32, columns int, ln kernel, size [3]int) []float32 {
	out := make([]float32, size[0]*size[1])
	for y := range size[1] {
		for x := range size[0] {
			for i, w := range ln.weights[1] {
				sum := 0.0
				for t, u := range ln.weights[0] {
					sum += u * float64(value[(y*ln.fine[1]+i)*columns+x*ln.fine[0]+t])
				}
				out[y*size[0]+x] += float32(w) * float32(sum)
			}
		}
	}
	return out
}

// plainFill computes the distances of the layers in m.
func plainFill(h *shape, p r3.Vec, m mask, l *layers) {
	if m == 0 {
		return
	}
	var c column
	pl := place{column: &c}
	h.project(p, &pl)
	h.table.blend(pl.foot.x, &pl.st, &pl.dst)
	pl.sin, pl.cos = math.Sincos(pl.st[pTilt])
	for i := range lCount {
		if m&(1<<i) != 0 {
			l.d[i], l.bend[i] = plainLayer(h, i, p, &pl)
		}
	}
	if m&(1<<lMarrow) != 0 {
		wb, wl := plainWalls(&pl.st, pl.st[pLift]-pl.v*pl.cos+pl.u*pl.sin)
		l.marrowWidth = wb[0] + wl[0] - pl.st[pBuccal] - pl.st[pLingual]
	}
}

// plainLayer is the distance of one layer with its curvature.
func plainLayer(h *shape, i int, p r3.Vec, pl *place) (d, bend float64) {
	if h.kind == Mandible && (i == lSinus || i == lNasal || i == lTurbinate) {
		return math.Inf(1), 0
	}
	switch i {
	case lSoft:
		return h.softBody(pl, p), 0
	case lFat:
		return h.fat(pl, p), 0
	case lAirway:
		return h.airway(p), 0
	case lMucosa, lBone:
		d, bend = plainDistance(pl, (*station).outer)
		thick := 0.0
		if i == lMucosa {
			d, bend = plainDistance(pl, (*station).mucosa)
			thick = 2.5
		}
		if h.kind == Maxilla {
			return join(d, bend, h.palate(pl, p)-thick)
		}
		return d, bend
	case lMarrow:
		return plainDistance(pl, (*station).endosteal)
	case lSinus:
		return plainDistance(pl, (*station).cavity)
	case lSeptum:
		return h.septum.distance(p)
	case lNasal:
		return h.nasal(p), 0
	case lTurbinate:
		return h.turbinates(p), 0
	}
	return nearest(map[int][]tube{lCanal: h.canals, lSocket: h.sockets, lRoot: h.roots, lCrown: h.crowns, lCore: h.shells, lPulp: h.pulps, lMetal: h.metals}[i], p)
}

// plainAt is F of surface r at a place moved by dx mm of x and (du, dv) mm in the section.
func plainAt(pl *place, r func(*station) contour, dx, du, dv float64) implicit {
	st, sin, cos := pl.st, pl.sin, pl.cos
	if dx != 0 || du != 0 || dv != 0 {
		for i := range st {
			st[i] += dx * pl.dst[i]
		}
		turn := st[pTilt] - pl.st[pTilt]
		sin, cos = pl.sin+turn*pl.cos, pl.cos-turn*pl.sin
	}
	u, v := pl.u+du, pl.v+dv
	a, b := st[pLift]-v*cos+u*sin, u*cos+v*sin
	wb, wl := plainWalls(&st, a)
	return plainF(r(&st), a, b, wb, wl)
}

// plainWalls is station.walls with all its terms in one place.
func plainWalls(st *station, a float64) (b, l [3]float64) {
	height := st[pHeight]
	free := a > -4 && a < height+4 // beyond, the walls go straight on
	a = max(-4, min(height+4, a))
	x := a / height
	h := [3]float64{st[pHalf] + 2*st[pConvexity]*x*(1-x), 2 * st[pConvexity] * (1 - 2*x) / height, -4 * st[pConvexity] / (height * height)}
	b, l = h, h
	if y := (a - st[pLevel]) / hollowReach; y > -1 && y < 1 {
		q := 1 - y*y
		hol := [3]float64{q * q * q, -6 * y * q * q / hollowReach, (24*y*y*q - 6*q*q) / (hollowReach * hollowReach)}
		for i := range hol {
			b[i] -= st[pHollowB] * hol[i]
			l[i] -= st[pHollowL] * hol[i]
		}
	}
	if y := a - st[pFlareFrom]; y > 0 {
		w := y + flareSoft
		fl := [3]float64{y * y * y / (w * w), y * y * (y + 3*flareSoft) / (w * w * w), 6 * flareSoft * flareSoft * y / (w * w * w * w)}
		for i := range fl {
			b[i] += st[pFlareB] * fl[i]
			l[i] += st[pFlareL] * fl[i]
		}
	}
	if !free {
		b[1], b[2], l[1], l[2] = 0, 0, 0, 0
	}
	return b, l
}

// plainF is contour.at.
func plainF(r contour, a, b float64, bw, lw [3]float64) implicit {
	e, e1, e2 := 1.0, 0.0, 0.0
	if y := 1 - (a-r.top)/r.cap; y > 0 {
		e, e1, e2 = e-y*y, e1+2*y/r.cap, e2-2/(r.cap*r.cap)
	}
	if y := 1 - (r.base-a)/r.capBase; y > 0 {
		e, e1, e2 = e-y*y, e1-2*y/r.capBase, e2-2/(r.capBase*r.capBase)
	}
	m, m1, m2 := (bw[0]+r.addB-lw[0]-r.addL)/2, (bw[1]-lw[1])/2, (bw[2]-lw[2])/2
	w, w1, w2 := (bw[0]+r.addB+lw[0]+r.addL)/2, (bw[1]+lw[1])/2, (bw[2]+lw[2])/2
	if w < 0.02 {
		return collapsed(&r, a, b-m, m1, w, w1)
	}
	sq, sq1, sq2 := w*w, 2*w*w1, 2*(w1*w1+w*w2)
	q, q1, q2 := sq*e, sq1*e+sq*e1, sq2*e+2*sq1*e1+sq*e2
	c := b - m
	v := implicit{f: c*c - q, fa: -2*c*m1 - q1, fb: 2 * c, faa: 2*m1*m1 - 2*c*m2 - q2, fab: -2 * m1, fbb: 2}
	v.inside = -1
	if q > 0 {
		v.inside = min(math.Sqrt(q)-math.Abs(c), min(a-r.top, r.base-a))
	}
	return v
}

// plainDistance is place.distance without anything shared between surfaces.
func plainDistance(pl *place, r func(*station) contour) (d, bend float64) {
	perX := pl.speed * max(0.2, 1+pl.u/pl.radius)
	v := plainAt(pl, r, 0, 0, 0)
	gu, gv := v.fa*pl.sin+v.fb*pl.cos, -v.fa*pl.cos+v.fb*pl.sin
	gs := (plainAt(pl, r, 1e-4, 0, 0).f - v.f) / 1e-4 / perX
	g2 := gs*gs + gu*gu + gv*gv + 1e-12
	d, t := v.f/math.Sqrt(g2), -v.f/g2
	if v.inside > 0 && d < -v.inside {
		t, d = t*(-v.inside/d), -v.inside
	}
	if math.Abs(d) > newtonReach {
		return d, 0
	}
	su, sv, ss := t*gu, t*gv, t*gs
	w := plainAt(pl, r, ss/perX, su, sv)
	hu, hv := w.fa*pl.sin+w.fb*pl.cos, -w.fa*pl.cos+w.fb*pl.sin
	h2 := gs*gs + hu*hu + hv*hv + 1e-12
	t = -w.f / h2
	su, sv, ss = su+t*hu, sv+t*hv, ss+t*gs
	e := math.Copysign(math.Sqrt(su*su+sv*sv+ss*ss), v.f)
	if math.Abs(e) > 2*math.Abs(d)+0.5 {
		return d, 0
	}
	if v.inside > 0 {
		e = max(e, -v.inside)
	}
	bend = w.bend() + hu/math.Sqrt(h2)/max(2, pl.radius+pl.u+su)
	return e, max(-0.7, min(1.5, bend))
}

// plainAcquisition stores slice k.
func plainAcquisition(f *acquisition, k int, grey []float32, stored []int16) {
	sp := f.grid.Spacing()
	for i := range grey {
		x, y := i%f.grid.Size[0], i/f.grid.Size[0]
		dx, dy := (float64(x)-f.middle.I)*sp[0], (float64(y)-f.middle.J)*sp[1]
		if radius := f.effects.Field / 2; radius > 0 && dx*dx+dy*dy > radius*radius {
			stored[i] = outside
			continue
		}
		v := float64(grey[i]) + f.artefactsAt(dx, dy, x, y, k)
		if f.scan.Noise > 0 {
			v += f.scan.Noise * f.noise(x, y, k)
		}
		stored[i] = int16(max(-32000, min(32000, math.Round(v))))
	}
}

// The voxels of Volume are those of the plain evaluation, bit for bit: both jaws, random shapes and
// grids (upright, turned, sheared, finer and coarser than their blur), every artefact, whole jaws
// and small cubes.
func TestVoxelsAreThoseOfThePlainEvaluation(t *testing.T) {
	check := func(name string, o Options) {
		t.Helper()
		j := must[*Jaw](t)(New(o))
		v := must[*volume.Volume](t)(j.Volume(context.Background(), nil))
		for i, want := range plainVolume(j) {
			if v.Stored[i] != want {
				t.Errorf("%s: voxel %d of %v is %d, want %d", name, i, v.Size, v.Stored[i], want)
				return
			}
		}
	}
	for _, k := range []Kind{Mandible, Maxilla} {
		o := Demo(k) // a whole jaw, coarse
		o.Scan.Voxel, o.Scan.Size, o.Scan.Blur = [3]float64{3, 3, 3}, [3]int{27, 27, 20}, 2
		check(o.Case, o)
	}
	hard := []Artefacts{{}, {Streaks: 300}, {Cupping: 200, Rings: 60}, {Motion: r3.Vec{X: 0.4, Y: -0.3, Z: 0.2}}, {Field: 5}}
	teeth := [2][]int{{46, 43, 31, 34, 37}, {16, 13, 21, 24, 27}}
	for i := range 10 {
		o := Random(uint64(i), Kind(i%2))
		o.Artefacts, o.Grey.Texture = hard[i/2%5], 30*float64(i%3)
		o.Scan.Voxel = [3]float64{0.8, 0.9, 1}
		o.Scan.Blur = 0.3 + 0.1*float64(i%4)
		if i%5 == 1 {
			o.Scan.Gantry = 10
		}
		if i%3 == 0 {
			o.Scan.Turn = r3.Vec{}
		}
		if i%4 == 3 {
			o.Scan.Correlation, o.Shape.Septum = 0.7, 5
		}
		if i >= 6 {
			o.Sockets, o.Healing, o.Shape.Loop, o.Shape.RootLean = []int{teeth[i%2][i/2]}, 0.3*float64(i-6), 3, 10
		}
		check(o.Case, small(t, o, teeth[i%2][i/2], 6))
	}
}
