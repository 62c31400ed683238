package plan

import (
	"fmt"
	"slices"
	"strings"
)

// checkProposed finds what a program proposed and nobody confirmed: no verdict that rests on it is more
// than uncertain.
func (p *Placed) checkProposed() []Doubt {
	var out []Doubt
	const rests = "was proposed by a program and confirmed by nobody"
	if len(p.Proposed) > 0 {
		out = append(out, Doubt{Caution: Cautionf("proposed", SeverityUncertain, "%s %s", strings.Join(p.Proposed, ", "), rests)})
	}
	for i, s := range p.Sites {
		if s.Proposed {
			out = append(out, p.SiteDoubt(i, "", "proposed", SeverityUncertain, "the site %s", rests))
		}
	}
	for i, s := range p.Structures {
		if !s.Proposed {
			continue
		}
		sure := ""
		if s.Confidence != nil {
			sure = fmt.Sprintf(" (confidence %.2f)", *s.Confidence)
		}
		out = append(out, p.StructureDoubt(i, "", "proposed", SeverityUncertain, "structure %s %s%s", quoted(s.Name), rests, sure))
	}
	return out
}

// CheckMadeFor holds the scan that the plan names against the one it is to be measured on. other says that
// another one is meant.
func (p *Placed) CheckMadeFor(scan MadeFor, other bool) []Doubt {
	want := p.For
	switch {
	case want == MadeFor{}:
		return []Doubt{{Caution: Cautionf("scan_not_named", SeverityNote, "the plan does not name the scan that it was made on")}}
	case want.Series == "" && want.Frame == scan.Frame:
		return []Doubt{{Caution: Cautionf("frame_only", SeverityCaution, "the plan names the frame of reference alone, which every reconstruction of this scan has")}}
	case want.Series == scan.Series && (want.Frame == "" || want.Frame == scan.Frame):
		return nil
	}
	d := Doubt{Caution: Cautionf("other_scan", SeverityCaution, "the plan was made on another scan than this one (it names series %s, frame %s)", shortHash(want.Series), shortHash(want.Frame))}
	d.path, d.remedy = "for", "measure the scan that the plan was made on, or say --other-scan"
	d.refuse = !other
	return []Doubt{d}
}

// shortHash is enough of a hash to tell two scans apart.
func shortHash(hash string) string {
	if hash == "" {
		return "not given"
	}
	return hash[:slices.Min([]int{12, len(hash)})]
}
