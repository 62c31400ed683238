package measure

import (
	"math"

	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// archStep is the spacing of the curve's points in a result, mm.
const archStep = 0.5

// arch measures what concerns several implants.
func (c *run) arch(sites []*site) ArchResult {
	out := ArchResult{Length: c.curve.Length()}
	for s := 0.0; s <= out.Length; s += archStep {
		out.Curve = append(out.Curve, c.curve.At(s))
	}
	var placed []safety.Placed
	at := map[string]*site{}
	for _, s := range sites {
		if s.out.Implant != nil {
			placed = append(placed, safety.Placed{Site: s.plan.ID, Tooth: s.plan.Tooth, Implant: *s.out.Implant})
			at[s.plan.ID] = s
		}
	}
	out.Rows = append(out.Rows, c.removedRows(sites)...)
	out.Rows = append(out.Rows, c.freeReadings()...)
	opts := safety.Options{ScaleHalf: c.plan.ScaleHalfWidth}
	pairs, err := safety.Pairs(placed, c.rules, opts)
	if err != nil {
		out.Rows = append(out.Rows, pairsFailed(placed, plain(err))...)
	}
	for _, p := range pairs {
		out.Rows = append(out.Rows, pairRows(p)...)
		c.neighbours(p, at)
	}
	if len(placed) >= 2 {
		if a, err := safety.Spread(placed, c.plan.Occlusal, opts); err == nil {
			out.Rows = append(out.Rows, spreadRows(a)...)
		} else {
			out.Rows = append(out.Rows, ArchRow{"arch", newRow(quantity.ImplantSpreadAngle, "mean axis", plain(err))},
				ArchRow{"arch", newRow(quantity.APSpread, "", plain(err))})
		}
	}
	out.Rows = append(out.Rows, c.extensionRows(placed, opts)...)
	return out
}

// closeBy is how close two implants must be for their distance to appear among a site's findings, mm:
// twice the margin of the literature between neighbours.
const closeBy = 6.0

// neighbours adds the distance between two close implants to the findings of both their sites.
func (c *run) neighbours(p safety.Pair, at map[string]*site) {
	if p.Surface.Distance.Value > closeBy && p.Surface.Verdict == safety.Held {
		return
	}
	for i, id := range p.Sites {
		f := p.Surface
		f.To = p.Sites[1-i]
		if i == 1 {
			f.Near[0], f.Near[1] = f.Near[1], f.Near[0]
		}
		at[id].hold([]safety.Finding{f})
	}
}

func pairRows(p safety.Pair) []ArchRow {
	sites := p.Sites[0] + "|" + p.Sites[1]
	surface := length(quantity.Clearance, nil, p.Surface.Distance)
	surface.To, surface.Verdict, surface.Note = "implant", p.Surface.Verdict, p.Surface.Reason
	if p.Surface.Verdict != safety.NoMargin {
		surface.Margin = &p.Surface.Margin
	}
	platforms := length(quantity.PlatformDistance, nil, p.Platforms)
	platforms.Note = "centre to centre"
	angle := degrees(quantity.ImplantAngle, "", p.Angle)
	return []ArchRow{{sites, planned(surface)}, {sites, planned(platforms)}, {sites, planned(angle)}}
}

func degrees(q quantity.Name, to string, a uncertainty.Angle) Row {
	return newRow(q, to, "").with(a.Value, a.Budget)
}

// spreadRows lists what the implants make together; information, never judged.
func spreadRows(a safety.Arch) []ArchRow {
	const note = "information, not a limit"
	var rows []ArchRow
	for i, id := range a.Sites {
		for _, r := range []Row{
			degrees(quantity.ImplantSpreadAngle, "mean axis", a.ToMean[i]),
			degrees(quantity.ImplantSpreadAngle, "occlusal direction", a.ToOcclusal[i]),
			degrees(quantity.AxisCorrection, "common axis", a.Correction[i]),
		} {
			r.Note = note
			rows = append(rows, ArchRow{id, planned(r)})
		}
	}
	spread := degrees(quantity.ImplantSpreadAngle, "mean axis", a.Spread)
	spread.Note = "largest; " + note
	rows = append(rows, ArchRow{"arch", planned(spread)})
	ap := newRow(quantity.APSpread, "", a.APReason)
	if !math.IsNaN(a.AP.Value) {
		ap = length(quantity.APSpread, nil, a.AP)
		ap.Note = note
		ap = planned(ap)
	}
	return append(rows, ArchRow{"arch", ap})
}
