package jpeg2000

import "math"

// The tile holds resolutions, a resolution bands, and each band's code-blocks are grouped by precinct. All rectangles are
// in the coordinates of their own resolution or band. Source: T.800 B.5 to B.9.
type tile struct {
	area        rect
	params      *params
	planes      int // the most that a block can have
	resolutions []resolution
}

// resolution 0 is the lowest band alone; each further one adds three bands.
type resolution struct {
	area         rect
	level        int // decompositions between it and the samples
	across, down int // precincts
	precincts    []precinct
	bands        []band
}

// band is one subband.
type band struct {
	kind             int // lowest, or the bits horizontal and vertical where it is high-pass
	area             rect
	planes           int // magnitude bits: M of T.800 E.2
	step             float32
	blockX, blockY   int // log2 of the code-blocks' size, after precincts have cut it
	cellX, cellY     int // log2 of a precinct's size in the band
	originX, originY int // index of the first precinct's cell
}

// Kinds of band.
const (
	lowest     = 0
	horizontal = 1 // HL
	vertical   = 2 // LH
	diagonal   = 3 // HH
)

// precinct groups the code-blocks of each band whose packets come together.
type precinct struct{ cells []cell }

// cell is a precinct's part of one band.
type cell struct {
	across, down    int // code-blocks
	blocks          []block
	included, zeros tree // tag trees: the layer a block comes in with; its empty planes
}

// block is what packets say of one code-block.
type block struct {
	area     rect // in the band
	included bool
	planes   int // magnitude bits that are coded
	lengths  int // Lblock: bits in which lengths are told
	passes   int
	data     []byte
	segments []segment
}

// segment is a stretch of a block's data that the decoder starts anew.
type segment struct{ passes, most, length int }

// layOut works out where everything of a tile lies. packets of n bytes must be able to pay for the precincts: each takes a
// byte a layer at the least.
//
// Reversible coefficients have at most 2 bits more than the samples, in the diagonal band, and 3 are room for overshoot: planes
// beyond would only cost time. Irreversible steps may be as fine as they like: there 30 is what an int32 holds with its
// half unit.
func layOut(area rect, p *params, n, precision int) (*tile, error) {
	t := &tile{area: area, params: p, planes: 30, resolutions: make([]resolution, p.levels+1)}
	if p.reversible {
		t.planes = precision + 5
	}
	paid := n / p.layers
	for r := range t.resolutions {
		res := &t.resolutions[r]
		res.level = p.levels - r
		res.area = down(area, res.level, 0)
		if err := res.layBands(t, r); err != nil {
			return nil, err
		}
		x, y := p.precinct(r)
		if !res.area.empty() {
			res.across = ceilShift(res.area.x1, x) - res.area.x0>>x
			res.down = ceilShift(res.area.y1, y) - res.area.y0>>y
		}
		if res.down > 0 && res.across > paid/res.down {
			return nil, corrupt("%d × %d precincts and %d layers cannot be in %d bytes", res.across, res.down, p.layers, n)
		}
		paid -= res.across * res.down
		res.precincts = make([]precinct, res.across*res.down)
		for k := range res.precincts {
			res.precincts[k].lay(res, k)
		}
	}
	return t, nil
}

// down gives an area after so many decompositions; kind says which half of the last one. Source: T.800 equation B-15.
func down(a rect, level, kind int) rect {
	half := 0
	if level > 0 {
		half = 1 << (level - 1)
	}
	dx, dy := half*(kind&1), half*(kind>>1)
	return rect{ceilShift(a.x0-dx, level), ceilShift(a.y0-dy, level), ceilShift(a.x1-dx, level), ceilShift(a.y1-dy, level)}
}

func ceilShift(v, n int) int { return (v + 1<<n - 1) >> n }

// layBands sets the bands of resolution r.
func (res *resolution) layBands(t *tile, r int) error {
	x, y := t.params.precinct(r)
	kinds, level := []int{lowest}, res.level
	if r > 0 {
		kinds, level = []int{horizontal, vertical, diagonal}, res.level+1
		x, y = x-1, y-1
	}
	for i, kind := range kinds {
		exponent, mantissa, err := t.params.step(max(0, 3*r-2)+i, level)
		if err != nil {
			return err
		}
		b := band{kind: kind, area: down(t.area, level, kind), planes: t.params.guard + exponent - 1}
		b.blockX, b.blockY, b.cellX, b.cellY = min(t.params.blockX, x), min(t.params.blockY, y), x, y
		b.originX, b.originY = down(t.area, res.level, 0).x0>>(x+min(r, 1)), down(t.area, res.level, 0).y0>>(y+min(r, 1))
		gain := kind&1 + kind>>1
		b.step = float32(math.Ldexp(1+float64(mantissa)/2048, gain-exponent)) // times 2^precision: samples() has it
		res.bands = append(res.bands, b)
	}
	return nil
}

// lay sets the code-blocks of precinct k.
func (p *precinct) lay(res *resolution, k int) {
	p.cells = make([]cell, len(res.bands))
	for i := range p.cells {
		b, c := &res.bands[i], &p.cells[i]
		cx, cy := b.originX+k%res.across, b.originY+k/res.across
		area := rect{cx << b.cellX, cy << b.cellY, (cx + 1) << b.cellX, (cy + 1) << b.cellY}.clip(b.area)
		if area.empty() {
			continue
		}
		x, y := area.x0>>b.blockX, area.y0>>b.blockY
		c.across, c.down = ceilShift(area.x1, b.blockX)-x, ceilShift(area.y1, b.blockY)-y
		c.blocks = make([]block, c.across*c.down)
		for j := range c.blocks {
			bx, by := x+j%c.across, y+j/c.across
			whole := rect{bx << b.blockX, by << b.blockY, (bx + 1) << b.blockX, (by + 1) << b.blockY}
			c.blocks[j] = block{area: whole.clip(area), lengths: 3}
		}
		c.included, c.zeros = newTree(c.across, c.down), newTree(c.across, c.down)
	}
}
