package jpeg2000

import (
	"testing"

	"ridgerule/dicomio/internal/codec/codectest"
)

// A frame cut anywhere is refused: no sample is made up.
func TestCutFramesAreRefused(t *testing.T) {
	for _, v := range codectest.Committed(t, "jpeg2000") {
		if len(v.Frame) < 600 {
			t.Run(v.Name, func(t *testing.T) { codectest.Truncate(t, Decode, v) })
		}
	}
}

// Changed bits give an error of the right type, or samples; never a panic, a write out of bounds or two answers.
func TestDamagedFramesKeepTheContract(t *testing.T) {
	refused, silent, all := 0, 0, 0
	for _, v := range codectest.Committed(t, "jpeg2000") {
		r, s := codectest.Damage(t, Decode, v, 25)
		refused, silent, all = refused+r, silent+s, all+25
	}
	t.Logf("%d damaged frames: %d refused, %d decoded to other samples", all, refused, silent)
	if refused == 0 {
		t.Error("no damage was noticed")
	}
}
