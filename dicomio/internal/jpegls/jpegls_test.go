package jpegls

import (
	"testing"

	"ridgerule/dicomio/internal/codec/codectest"
)

// Outside program: Debian's dcmcjpeg and gdcmconv encode, the original pixels are the truth.
func TestCommittedFramesDecodeToTheirPixels(t *testing.T) {
	for _, v := range codectest.Committed(t, "jpegls") {
		t.Run(v.Name, func(t *testing.T) { codectest.Check(t, Decode, v) })
	}
}

// The same, encoded now by the tools that are installed.
func TestLiveFramesDecodeToTheirPixels(t *testing.T) {
	for _, v := range codectest.Live(t, "jpegls") {
		t.Run(v.Name, func(t *testing.T) { codectest.Check(t, Decode, v) })
	}
}
