package practice

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"

	"ridgerule/measure/phantom"
	"ridgerule/measure/reformat"
)

// ErrOptions is wrapped by every error about what a set shall be.
var ErrOptions = errors.New("practice")

// Options say what a set shall be; each zero value but the salt's has a meaning.
type Options struct {
	Items   int            // 0 means 20
	Seed    uint64         // of the sites: their shapes, questions and order
	Salt    []byte         // 16 bytes: of the names, the noise and the place of each picture
	Level   Level          // "" means Mixed: easy, middle and hard as 40 : 40 : 20
	Jaws    []phantom.Kind // nil means both
	Repeats float64        // share of the items that repeat another one unseen, 0 to 0.5
}

// Sheet is one item as a reader is given it. It holds no truth and nothing that follows from one.
type Sheet struct {
	Item          string
	Jaw           phantom.Kind
	Tooth         int // ISO 3950
	Question      Question
	Frame         reformat.Frame // origin is the sheet's corner (0, 0)
	Width, Height float64        // of the picture, mm in the patient
	View          View           `json:",omitempty"` // which way the section lies
	Body          *Body          `json:",omitempty"` // nil: no implant is drawn
}

// Set is a set of items: what is given away and what is kept.
type Set struct {
	Sheets []Sheet
	Key    *Key
}

// What every scan and picture of a set share, so that no size tells one item from another; mm.
const (
	voxelSize                = 0.3
	fieldWide, fieldHigh     = 88, 98 // voxels: 26.4 × 26.4 × 29.4 mm
	pictureWide, pictureTall = 24.0, 26.0
	belowArch                = 18.5 // of a picture's height lies below the arch's plane
	scatter                  = 0.7  // each picture and each field lies so far off its middle at most
)

const (
	saltBytes  = 16
	blocked    = 5   // items of one kind that a set of 20 or more begins with, to find one's way; a quarter of a smaller one
	ampleShare = 0.3 // of sites with bone enough
)

// Draw draws a set. The same options give the same set. It returns an error wrapping [ErrOptions] where they
// ask for a set that cannot be made.
func Draw(o Options) (*Set, error) {
	o, err := o.checked()
	if err != nil {
		return nil, err
	}
	plan := o.arrange()
	set := &Set{Key: &Key{Format: keyFormat, Seed: o.Seed, Salt: o.Salt, Level: o.Level}}
	for i, w := range plan {
		var it Sealed
		if w.repeats >= 0 {
			it, err = o.repeat(i, set.Key.Items[w.repeats])
		} else {
			it, err = o.site(i, w)
		}
		if err != nil {
			return nil, err
		}
		if set.Key.item(it.Sheet.Item) != nil {
			return nil, fmt.Errorf("%w: two items are called %s; take another salt", ErrOptions, it.Sheet.Item)
		}
		set.Key.Items = append(set.Key.Items, it)
		set.Sheets = append(set.Sheets, it.Sheet)
	}
	return set, nil
}

func (o Options) checked() (Options, error) {
	if o.Items == 0 {
		o.Items = 20
	}
	if o.Level == "" {
		o.Level = Mixed
	}
	if len(o.Jaws) == 0 {
		o.Jaws = []phantom.Kind{phantom.Mandible, phantom.Maxilla}
	}
	switch {
	case o.Items < 1 || o.Items > 500:
		return o, fmt.Errorf("%w: %d items; a set has 1 to 500", ErrOptions, o.Items)
	case !(o.Repeats >= 0 && o.Repeats <= 0.5):
		return o, fmt.Errorf("%w: a share of %g hidden repeats; give 0 to 0.5, as 0.25", ErrOptions, o.Repeats)
	case !slices.Contains([]Level{Easy, Hard, Mixed}, o.Level):
		return o, fmt.Errorf("%w: level %q is none of easy, mixed, hard", ErrOptions, o.Level)
	case len(o.Salt) != saltBytes:
		return o, fmt.Errorf("%w: a salt of %d bytes; it has %d", ErrOptions, len(o.Salt), saltBytes)
	}
	return o, nil
}

// seeded returns a source of random numbers for one purpose and one item, from the seed.
func (o Options) seeded(what string, i int) *rand.Rand {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %d %d", what, o.Seed, i))
	return rand.New(rand.NewChaCha8(sum))
}

// salted is the same from the salt, and so independent of every truth.
func (o Options) salted(what string, i int) []byte {
	h := hmac.New(sha256.New, o.Salt)
	fmt.Fprintf(h, "%s %d", what, i)
	return h.Sum(nil)
}

// tries is how often a site is drawn anew until it has the level that is wanted and an answer.
const (
	tries    = 400
	fewTries = 40 // of another level
)

// site draws a site of a kind.
func (o Options) site(i int, w wish) (Sealed, error) {
	r := o.seeded("site", i)
	for off, n := range []int{tries, fewTries, fewTries} { // of a kind that cannot be so, one a level off, then two
		for range n {
			it := o.sketch(i, w, r)
			if it.Level.apart(w.level) > off {
				continue
			}
			if err := it.solve(); err == nil {
				return it, nil
			}
		}
	}
	return Sealed{}, fmt.Errorf("practice: no %s site that is %s in %d tries (item %d)", w.kind.name, w.level, tries, i+1)
}

// sketch draws shape, scan and question of a site. The arch is of one size in all sets: were it drawn, a repeat would
// be known by the direction of its section.
func (o Options) sketch(i int, w wish, r *rand.Rand) Sealed {
	in := newSpread(r)
	tooth := w.kind.teeth[r.IntN(len(w.kind.teeth))]
	b := w.kind.base
	b.Case, b.Jaw, b.Teeth = "practice", w.kind.jaw, []int{}
	b.Shape.RidgeMucosa = in(1.2, 2.8)
	w.kind.draw(&b, tooth, in)
	b.Scan.Blur, b.Scan.Noise, b.Grey.Texture = in(0.15, 0.38), in(20, 150), in(30, 80)
	q := w.kind.ask[r.IntN(len(w.kind.ask))]
	it := Sealed{Kind: w.kind.name, Ample: w.kind.ample, Why: w.kind.why, Jaw: b}
	it.Sheet.Question, it.Sheet.Tooth = q, tooth
	if r.IntN(2) == 0 {
		it.mirror()
	}
	it.Drivers = driversOf(it.Jaw, tooth, q)
	it.Level = levelOf(it.Drivers)
	o.name(i, &it)
	return it
}

// mirror moves a site to the other side of the patient.
func (it *Sealed) mirror() {
	side := func(tooth int) int { return tooth + map[int]int{1: 10, 2: -10, 3: 10, 4: -10}[tooth/10] }
	it.Sheet.Tooth = side(it.Sheet.Tooth)
	for _, list := range []*[]int{&it.Jaw.Teeth, &it.Jaw.Sockets} {
		*list = slices.Clone(*list)
		for i, t := range *list {
			(*list)[i] = side(t)
		}
	}
	if it.Jaw.Shape.SeptumTooth != 0 {
		it.Jaw.Shape.SeptumTooth, it.Jaw.Shape.SeptumShift = side(it.Jaw.Shape.SeptumTooth), -it.Jaw.Shape.SeptumShift
	}
}

// repeat is an item again: the mirror image, with other noise, another name and another place on its sheet.
func (o Options) repeat(i int, of Sealed) (Sealed, error) {
	it := of
	it.Repeats = of.Sheet.Item
	it.mirror()
	o.name(i, &it)
	if err := it.solve(); err != nil {
		return it, fmt.Errorf("practice: item %d, the repeat of %s: %w", i+1, of.Sheet.Item, err)
	}
	return it, nil
}

// letters are what the items' names are of: no two of them look alike.
const letters = "abcdefghkmnpqrstuvwxyz"

// itemName is six letters that follow from the salt.
func (o Options) itemName(what string, i int) string {
	name := o.salted(what, i)[:6]
	for k, b := range name {
		name[k] = letters[int(b)%len(letters)]
	}
	return string(name)
}

// name gives an item what follows from the salt and its place alone: name, noise, and where field and picture lie.
func (o Options) name(i int, it *Sealed) {
	sum := o.salted("item", i)
	it.Sheet.Item = o.itemName("name", i)
	it.Jaw.Seed = binary.LittleEndian.Uint64(sum[8:])
	it.Series = binary.LittleEndian.Uint64(sum[16:])
	place := o.salted("place", i)
	for k := range it.Offset {
		it.Offset[k] = scatter * (2*float64(place[k])/255 - 1)
	}
}
