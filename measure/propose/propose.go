// Package propose looks at a scan without a plan and proposes one: which jaw it shows, the occlusal
// direction, the arch curve, candidate sites along it, the floors of the sinuses and of the nose.
//
// A volume flows in; a [Proposal] comes out, and writes itself as a site plan in which everything proposed
// is marked so: no verdict that rests on it is more than uncertain before a person has confirmed it. Up,
// down, left and right come from the scan's header and never from the image. What cannot be proposed is
// refused with its reason; no canal is ever proposed.
//
// Rules:
//   - the image only votes on the jaw; a narrow vote is [ErrJaw], "cannot tell";
//   - two jaws in the field are a question for the user: [ErrJaw];
//   - an arch that does not look like one is [ErrArch], "no proposal";
//   - without a midline no site gets a tooth number.
//
// Frames:
//
//	r3.Vec     (x, y, z)  patient, LPS: +x Left, +y Posterior, +z Superior; mm
//	plane      (a, b, h)  + left, + front, height over a tilted plane; mm
//	section    reformat.UV
package propose

import (
	"context"
	"errors"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
)

// Why there is no proposal; test for them with [errors.Is].
var (
	ErrJaw  = errors.New("which jaw is not decided") // a question only the user can answer
	ErrArch = errors.New("no proposal of an arch")   // the scan shows no arch that may be proposed
)

// Options say what is known already. The zero value asks for everything.
type Options struct {
	Jaw     plan.Jaw // "" lets the image vote
	Spacing float64  // between candidate sites along the arch, mm; 0 means 7

	Teeth []PlannedTooth // of a set-up: sites are proposed under them, and nowhere else; nil: along the whole arch
}

// usualSpacing is the distance between candidate sites, mm: a premolar's width and a little. Our choice.
const usualSpacing = 7.0

// Proposal is what the image suggests. Nothing in it is confirmed.
type Proposal struct {
	Jaw         plan.Jaw
	Voted       bool     // the image voted on the jaw; false: the user named it
	Votes       []string // what spoke for a jaw, in words
	Occlusal    r3.Vec   // unit vector from the base of the jaw toward the biting surface
	OcclusalWhy string   // where it comes from, in words
	Arch        []r3.Vec // from the patient's right to the left where both are seen; patient, mm
	Midline     *r3.Vec  // on the arch; nil: the field shows none
	Sites       []Site
	Cavities    []Cavity
	None        []string // what is not proposed, each with its reason
}

// Site is a candidate place.
type Site struct {
	At       r3.Vec  // on the arch; patient, mm
	Arc      float64 // from the midline, + to the patient's left, mm; from the arch's first point where there is no midline
	Tooth    string  // ISO 3950, the tooth whose usual place is nearest; "": there is no midline to count from
	Standing bool    // something denser than bone stands over the crest: a tooth, most likely
}

// Cavity is the floor of a sinus or of the nose along the arch, as a chain of capsules that touch it from
// inside the cavity. It covers the floor over the ridge only.
type Cavity struct {
	Name string
	Kind string   // "sinus" or "nasal_floor"
	Path []r3.Vec // patient, mm
}

// What a proposed cavity is worth. The radius is our choice: narrower than any sinus.
const (
	CavityRadius = 1.5 // of its chain of capsules, mm
	CavitySD     = 1.0 // mm, 1 sigma. Our choice, see docs/propose.md
)

const archSD = 0.8 // mm, 1 sigma of the proposed curve across the ridge. Our choice, see docs/propose.md

// Refusal is the reason why something is not proposed, and the way on. It wraps [ErrJaw] or [ErrArch].
type Refusal struct {
	Err    error
	Why    string
	Remedy string
}

func (r *Refusal) Error() string { return fmt.Sprintf("%v: %s; %s", r.Err, r.Why, r.Remedy) }
func (r *Refusal) Unwrap() error { return r.Err }

// Look returns what v suggests. It returns a [*Refusal] where there is no proposal, ctx's error when ctx
// ends first. v is only read.
func Look(ctx context.Context, v *volume.Volume, o Options) (*Proposal, error) {
	if o.Spacing == 0 {
		o.Spacing = usualSpacing
	}
	c, err := reduce(ctx, v)
	if err != nil {
		return nil, err
	}
	bands, err := c.search(ctx)
	if err != nil {
		return nil, err
	}
	p := &Proposal{Jaw: o.Jaw}
	w := &work{Proposal: p, v: v, cells: c}
	b, err := w.choose(bands)
	if err != nil {
		return nil, err
	}
	if err := w.archOf(ctx, b, bands); err != nil {
		return nil, err
	}
	if err := w.midline(); err != nil {
		return nil, err
	}
	if o.Teeth == nil {
		w.sites(o.Spacing)
	} else {
		w.sitesOf(o.Teeth)
	}
	if p.Jaw == plan.Maxilla {
		w.cavities(ctx)
	}
	return p, ctx.Err()
}
