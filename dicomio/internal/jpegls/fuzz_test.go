package jpegls

import (
	"testing"

	"ridgerule/dicomio/internal/codec/codectest"
)

func FuzzDecode(f *testing.F) { codectest.Fuzz(f, Decode, "jpegls") }
