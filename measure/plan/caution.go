package plan

import "fmt"

// Caution is something that a reader of the numbers must know, as data.
type Caution struct {
	Code     string   `json:"code"` // a stable word for programs: "other_scan"
	Text     string   `json:"text"` // a sentence without its full stop
	Severity Severity `json:"severity"`
	Site     string   `json:"site,omitempty"` // id of the site it is about; empty: the whole case
}

// Severity is what a caution does to the verdicts that it is about.
type Severity string

// The severities, mildest first.
const (
	SeverityNote        Severity = "note"              // said, no alarm
	SeverityCaution     Severity = "caution"           // said where it cannot be missed
	SeverityUncertain   Severity = "at best uncertain" // no margin that it is about reads held
	SeverityNotAssessed Severity = "not assessed"      // no margin that it is about is judged, but one surely not held
)

// Cautionf makes a caution about the whole case.
func Cautionf(code string, severity Severity, format string, args ...any) Caution {
	return Caution{Code: code, Severity: severity, Text: fmt.Sprintf(format, args...)}
}

// At returns the caution as one about a site.
func (c Caution) At(site string) Caution {
	c.Site = site
	return c
}

// Line returns the caution as one line for people: the site first where it is about one.
func (c Caution) Line() string {
	if c.Site != "" {
		return "site " + c.Site + ": " + c.Text
	}
	return c.Text
}
