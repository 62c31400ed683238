package report

import (
	"slices"
	"strings"

	"ridgerule/measure/quantity"
)

// Column is one column of a table, as a Frictionless Table Schema describes it.
type Column struct {
	Name        string   `json:"name"`
	Title       string   `json:"title"`
	Type        string   `json:"type"` // "string" or "number"
	Unit        string   `json:"unit,omitempty"`
	Description string   `json:"description"`
	Limits      *limits  `json:"constraints,omitempty"`
	Categories  []string `json:"categories,omitempty"`
	Missing     []string `json:"missingValues,omitzero"` // nil: those of the table
}

// limits are a column's Table Schema constraints.
type limits struct {
	Required bool     `json:"required,omitempty"`
	Minimum  *float64 `json:"minimum,omitempty"`
	Enum     []string `json:"enum,omitempty"`
}

func text(name, title, about string) Column {
	return Column{Name: name, Title: title, Type: "string", Description: about}
}

func number(name, title, unit, about string) Column {
	return Column{Name: name, Title: title, Type: "number", Unit: unit, Description: about}
}

func required(c Column) Column {
	c.Limits = &limits{Required: true}
	return c
}

func notNegative(c Column) Column {
	zero := 0.0
	c.Limits = &limits{Minimum: &zero}
	return c
}

// names returns the header of a table.
func names(columns []Column) []string {
	out := make([]string, len(columns))
	for i, c := range columns {
		out[i] = c.Name
	}
	return out
}

var verdictWords = []string{"held", "uncertain", "not held", "not assessed"}

// MeasurementColumns returns the columns of measurements.csv in their order.
func MeasurementColumns() []Column {
	verdict := text("verdict", "Verdict", "What the value says about the margin: held if value − U ≥ margin, not held if value < 0 or value + U < margin, else uncertain; not assessed when something is missing. Empty where no margin applies.")
	verdict.Categories = verdictWords
	quantities := required(text("quantity", "Quantity", "What was measured; docs/csv.md says of each how."))
	for _, q := range quantity.All() {
		quantities.Limits.Enum = append(quantities.Limits.Enum, string(q.Name))
	}
	slices.Sort(quantities.Limits.Enum)
	return []Column{
		required(text("case", "Case", "Label of the case, from the plan. Never a patient's name or number.")),
		required(text("site", "Site", "Site id of the plan; 'arch' for the whole arch; two ids joined by '|' for a pair.")),
		text("tooth", "Tooth", "Tooth position, ISO 3950 two-digit designation."),
		quantities,
		notNegative(number("at_mm", "Depth", "mm", "Depth below the crest along the ridge axis; below the levelled crest for what is called levelled; below the platform for bone beside an implant. Empty where no depth applies.")),
		text("to", "To", "What the height ends at (canal, sinus, nasal_floor, border; buccal_wall, lingual_wall: a length to a side wall, no height of bone to the base), or the name of the structure or other site."),
		number("value", "Value", "", "The number, in the unit of the column 'unit'. Empty: no number, and the note says why."),
		text("unit", "Unit", "mm, mm2, mm3, deg (degrees) or 1 (a relative grey value or a pure number)."),
		notNegative(number("u", "Standard uncertainty", "", "Standard uncertainty u of the value, in its unit (JCGM 100).")),
		notNegative(number("U", "Expanded uncertainty", "", "Expanded uncertainty U = 2·u of the value, in its unit.")),
		number("margin", "Margin", "mm", "The margin the value was held against."),
		verdict,
		text("note", "Note", "Why there is no number, or what else must be known."),
	}
}

// MeasurementKey and SiteKey are the columns of which no two rows of one case have the same cells; an empty depth
// is one of them.
var (
	MeasurementKey = []string{"case", "site", "quantity", "at_mm", "to"}
	SiteKey        = []string{"case", "site"}
)

// SiteColumns returns the columns of sites.csv in their order, for widths at these depths (mm).
func SiteColumns(depths []float64) []Column {
	verdict := text("verdict", "Verdict", "The gravest verdict of the site's findings: not held, then not assessed, uncertain, held.")
	verdict.Categories = verdictWords
	columns := []Column{
		required(text("case", "Case", "Label of the case, from the plan.")),
		required(text("site", "Site", "Site id of the plan.")),
		text("tooth", "Tooth", "Tooth position, ISO 3950 two-digit designation."),
		number("arc_mm", "Arc length", "mm", "Place of the section on the arch curve, from the first arch point."),
	}
	for _, axis := range []string{"x", "y", "z"} {
		columns = append(columns, number("crest_"+axis, "Crest point "+axis, "mm", "Crest point in the patient, DICOM LPS, "+axis+"."))
	}
	for _, axis := range []string{"x", "y", "z"} {
		columns = append(columns, number("axis_"+axis, "Axis "+axis, "1", "Unit vector from crest to base, DICOM LPS, "+axis+"."))
	}
	columns = append(columns,
		number("height_mm", quantity.Of(quantity.RidgeHeight).Words, "mm", "From the crest point along the axis to what height_to names; the note says where that is not what was asked for."),
		notNegative(number("height_U_mm", "U of the height", "mm", "Expanded uncertainty of the height, k = 2.")),
		text("height_to", "Height ends at", "canal, sinus, nasal_floor or border; buccal_wall or lingual_wall: it is a length to a side wall, no height of bone to the base; empty: no height."))
	width, tilt := quantity.Of(quantity.RidgeWidth), quantity.Of(quantity.RidgeTilt)
	for _, d := range depths {
		columns = append(columns, number("width_"+plain(d)+"mm_mm", width.Words+" at "+plain(d)+" mm", width.Unit,
			strings.Replace(width.Description, "at a depth", plain(d)+" mm below the crest", 1)+"."))
	}
	return append(columns,
		number("tilt_deg", "Tilt", tilt.Unit, tilt.Description+"."),
		verdict,
		text("note", "Note", "Why a number is missing, or what else must be known."))
}
