package jpeg2000

import (
	"testing"

	"ridgerule/dicomio/internal/codec/codectest"
)

func FuzzDecode(f *testing.F) { codectest.Fuzz(f, Decode, "jpeg2000") }
