package measure

import (
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
)

// Words of a [Result] that other packages define, so that whoever reads a result needs this package only.
type (
	Structure = safety.Structure
	Surface   = solid.Surface
	Implant   = safety.Implant
	Finding   = safety.Finding
	Verdict   = safety.Verdict
	Rule      = safety.Rule
	Kind      = safety.Kind
	Rung      = safety.Rung
	Size      = safety.Size
	Pose      = safety.Pose
)

// The verdicts.
const (
	NoMargin    = safety.NoMargin
	Held        = safety.Held
	Uncertain   = safety.Uncertain
	NotHeld     = safety.NotHeld
	NotAssessed = safety.NotAssessed
)
