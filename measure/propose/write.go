package propose

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// Header is what a plan says of its case and its scan.
type Header struct {
	Case          string // a label, never the patient's name
	Series, Frame string // hashes of the scan, as the plan's `for` has them; "" leaves them out

	SetUp []SetUpFile // surfaces of the planned teeth
	Align string      // their alignment with the scan, as the plan names it
}

// SetUpFile is a surface of a set-up as the plan names it.
type SetUpFile struct{ File, Tooth string }

// WritePlan writes the proposal as a site plan (docs/plan.md) in which everything proposed is marked so. A
// site without a tooth number is written without its key tooth: the plan is refused, by that site's line,
// until a person has named the tooth.
func (p *Proposal) WritePlan(w io.Writer, h Header) error {
	b := bufio.NewWriter(w)
	put := func(format string, args ...any) { fmt.Fprintf(b, format+"\n", args...) }
	put("# Proposed by a program and confirmed by nobody: check each part, and remove its mark when it is right.")
	for _, v := range p.Votes {
		put("# %s: %s", p.Jaw, v)
	}
	for _, n := range p.None {
		put("# not proposed: %s", n)
	}
	put("# not proposed: canals and foramina; mark them, or follow a canal between two marks")
	put("format: 1\ncase: %s\njaw: %s\ncoordinates: patient", h.Case, p.Jaw)
	if h.Series != "" {
		put("for: {series: %s, frame: %s}", h.Series, h.Frame)
	}
	put("occlusal: %s", triple(p.Occlusal, 5))
	put("orientation_note: %q", "occlusal direction proposed: "+p.OcclusalWhy)
	put("proposed: [%s]", strings.Join(p.marks(), ", "))
	put("arch:\n  sd_mm: %g\n  points:", archSD)
	for _, a := range p.Arch {
		put("    - %s", triple(a, 2))
	}
	if len(h.SetUp) > 0 {
		put("restoration:\n  align: %q\n  surfaces:", h.Align)
		for _, f := range h.SetUp {
			if f.Tooth == "" {
				put("    - {file: %q}", f.File)
			} else {
				put("    - {file: %q, tooth: %q}", f.File, f.Tooth)
			}
		}
	}
	p.writeSites(put)
	p.writeCavities(put)
	return b.Flush()
}

func (p *Proposal) writeSites(put func(format string, args ...any)) {
	if len(p.Sites) > 0 {
		put("sites:")
	}
	seen := map[string]int{}
	for i, s := range p.Sites {
		if s.Tooth == "" {
			put("  - id: place-%d # add tooth: its ISO 3950 number", i+1)
		} else {
			put("  - tooth: \"%s\"", s.Tooth)
			if n := seen[s.Tooth]; n > 0 {
				put("    id: \"%s%c\"", s.Tooth, 'a'+n)
			}
			seen[s.Tooth]++
		}
		if s.Standing {
			put("    # a tooth seems to stand here")
		}
		put("    at: %s\n    proposed: true", triple(s.At, 2))
	}
}

func (p *Proposal) writeCavities(put func(format string, args ...any)) {
	if len(p.Cavities) > 0 {
		put("structures:")
	}
	for _, c := range p.Cavities {
		put("  - name: %s\n    kind: %s\n    proposed: true\n    radius_mm: %g\n    sd_mm: %g\n    path:", c.Name, c.Kind, CavityRadius, CavitySD)
		for _, a := range c.Path {
			put("      - %s", triple(a, 2))
		}
	}
}

// marks are the parts of the plan's head that were proposed.
func (p *Proposal) marks() []string {
	if p.Voted {
		return []string{"jaw", "occlusal", "arch"}
	}
	return []string{"occlusal", "arch"}
}

func triple(p r3.Vec, digits int) string {
	return fmt.Sprintf("[%.*f, %.*f, %.*f]", digits, p.X, digits, p.Y, digits, p.Z)
}
