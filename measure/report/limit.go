package report

import (
	"math"
	"strings"

	"ridgerule/measure"
)

// limitOf says in one sentence what limits the site most: why it was not measured, else the
// distance of its worst verdict with the least reserve, else what its height ends at.
func limitOf(s *measure.SiteResult, jaw measure.Jaw) string {
	if s.Err != "" {
		return "Not measured: " + s.Err
	}
	if row, found := worstRow(s); found {
		return rowLimit(row, jaw)
	}
	if s.Verdict == measure.NotAssessed && s.Note != "" {
		return s.Note
	}
	if s.HeightTo != "" {
		return "Height ends at the " + limitWord(s.HeightTo)
	}
	if s.Note != "" {
		return s.Note
	}
	return "No limit was marked or found"
}

func limitWord(l measure.Limit) string {
	if l == measure.ToBorder {
		return "lower border of the jaw or its base"
	}
	return plainName(string(l))
}

// worstRow returns the row that carries the site's verdict with the least reserve: value − U −
// margin. A row without a number has the least reserve of all.
func worstRow(s *measure.SiteResult) (measure.Row, bool) {
	var worst measure.Row
	found, least := false, math.Inf(1)
	for _, row := range s.Rows {
		if row.Verdict == measure.NoMargin || row.Verdict != s.Verdict {
			continue
		}
		reserve := math.Inf(-1)
		if row.Value != nil && row.Margin != nil {
			reserve = *row.Value - row.Budget.U() - *row.Margin
		}
		if !found || reserve < least {
			worst, least, found = row, reserve, true
		}
	}
	return worst, found
}

func rowLimit(row measure.Row, jaw measure.Jaw) string {
	name := rowName(row, jaw)
	if row.Value == nil {
		if row.Note == "" {
			return name + ": not assessed"
		}
		return name + ": " + row.Note
	}
	text := name + ": " + rowReading(row)
	if row.Margin != nil {
		text += ", margin " + rounded(*row.Margin, 1) + " mm"
	}
	return text
}

// rowName returns what a row is about, in words: "Clearance to left canal".
func rowName(row measure.Row, jaw measure.Jaw) string {
	name := quantity(row.Quantity, jaw)
	switch {
	case row.To == "":
		return name
	case row.Quantity == "implant_spread_angle" || row.Quantity == "axis_correction":
		return "Angle to the " + row.To
	case row.Quantity == "clearance" || row.Quantity == "implant_angle":
		return name + " to " + row.To
	case row.Quantity == "ridge_height":
		return name + " to the " + plainName(row.To)
	case strings.HasPrefix(row.Quantity, "usable"):
		return name + ", for " + row.To
	}
	return name + ", " + plainName(row.To)
}

// rowReading returns the row's number with its uncertainty and unit, or nothing.
func rowReading(row measure.Row) string {
	if row.Value == nil {
		return ""
	}
	text := read(*row.Value, row.Budget.U()).String()
	if row.Margin != nil && row.Verdict != measure.NoMargin {
		text = readAgainst(*row.Value, row.Budget.U(), *row.Margin).String()
	}
	switch unit := unitWord(row.Unit); unit {
	case "":
		return text
	case "°":
		return text + "°"
	default:
		return text + " " + unit
	}
}
