package repeat

import (
	"math"
	"strconv"
	"strings"
)

// Number is a float64 that may be absent: NaN inside, null in JSON, an empty cell in CSV.
// Its unit is the unit of the figure that holds it.
type Number float64

// Known reports whether the number is there: neither NaN nor infinite.
func (x Number) Known() bool { return !math.IsNaN(float64(x)) && !math.IsInf(float64(x), 0) }

// String is the shortest text that reads back as the same number; empty where there is none.
func (x Number) String() string {
	if !x.Known() {
		return ""
	}
	return strconv.FormatFloat(float64(x), 'g', -1, 64)
}

// MarshalJSON writes the number, or null where there is none.
func (x Number) MarshalJSON() ([]byte, error) {
	if !x.Known() {
		return []byte("null"), nil
	}
	return []byte(x.String()), nil
}

// UnmarshalJSON reads a number; null is an absent one.
func (x *Number) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*x = none
		return nil
	}
	v, err := strconv.ParseFloat(string(b), 64)
	*x = Number(v)
	return err
}

// none is the absent number.
var none = Number(math.NaN())

// Interval is a confidence interval at the level of Result.Confidence, in the unit of its figure.
type Interval struct {
	Low  Number `json:"low"`
	High Number `json:"high"`
}

// Estimate is a figure with its confidence interval, in Unit. Where a number is absent Reason says why.
type Estimate struct {
	Value Number `json:"value"`
	Interval
	Unit   string `json:"unit"`
	Reason string `json:"reason,omitempty"`
}

// Test is a two-sided test of "no effect": t on DF degrees of freedom. All three are pure numbers.
type Test struct {
	T  Number `json:"t"`
	DF Number `json:"df"`
	P  Number `json:"p"`
}

// absent is an estimate that could not be made, with the reason.
func absent(unit, reason string) Estimate {
	return Estimate{Value: none, Interval: Interval{none, none}, Unit: unit, Reason: reason}
}

// exactly is an estimate without an interval, with the reason for that.
func exactly(v float64, unit, reason string) Estimate {
	return Estimate{Value: Number(v), Interval: Interval{none, none}, Unit: unit, Reason: reason}
}

// between is an estimate with its interval.
func between(v, low, high float64, unit string) Estimate {
	return Estimate{Value: Number(v), Interval: Interval{Number(low), Number(high)}, Unit: unit}
}

// times scales an estimate by a positive factor: a standard deviation to a coefficient.
func (e Estimate) times(f float64) Estimate {
	e.Value, e.Low, e.High = e.Value*Number(f), e.Low*Number(f), e.High*Number(f)
	return e
}

// squared is the unit of a variance.
func squared(unit string) string {
	switch {
	case unit == "" || unit == "1":
		return unit
	case strings.ContainsAny(unit, "/·* "):
		return "(" + unit + ")²"
	}
	return unit + "²"
}
