package measure

import (
	"ridgerule/measure/plan"
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
)

// Words of a [Result] that other packages define, so that whoever reads a result needs this package only.
type (
	Structure  = safety.Structure
	Surface    = solid.Surface
	Implant    = safety.Implant
	Finding    = safety.Finding
	Verdict    = safety.Verdict
	Rule       = safety.Rule
	Kind       = safety.Kind
	SizeResult = safety.SizeResult
	Size       = safety.Size
	Pose       = safety.Pose

	Jaw      = plan.Jaw
	Side     = plan.Side
	Limit    = plan.Limit
	AxisRule = plan.AxisRule
	Caution  = plan.Caution
	Severity = plan.Severity

	doubt = plan.Doubt
)

// The verdicts.
const (
	NoMargin    = safety.NoMargin
	Held        = safety.Held
	Uncertain   = safety.Uncertain
	NotHeld     = safety.NotHeld
	NotAssessed = safety.NotAssessed
)

// The jaws, the sides, what a height ends at, and where an axis comes from.
const (
	Mandible = plan.Mandible
	Maxilla  = plan.Maxilla

	Left  = plan.Left
	Right = plan.Right

	ToAuto        = plan.ToAuto
	ToCanal       = plan.ToCanal
	ToSinus       = plan.ToSinus
	ToNasalFloor  = plan.ToNasalFloor
	ToBorder      = plan.ToBorder
	ToBuccalWall  = plan.ToBuccalWall
	ToLingualWall = plan.ToLingualWall

	AxisRidge    = plan.AxisRidge
	AxisOcclusal = plan.AxisOcclusal
	AxisGiven    = plan.AxisGiven
)

// The severities, mildest first.
const (
	SeverityNote        = plan.SeverityNote
	SeverityCaution     = plan.SeverityCaution
	SeverityUncertain   = plan.SeverityUncertain
	SeverityNotAssessed = plan.SeverityNotAssessed
)

// Cautionf makes a caution about the whole case.
func Cautionf(code string, severity Severity, format string, args ...any) Caution {
	return plan.Cautionf(code, severity, format, args...)
}
