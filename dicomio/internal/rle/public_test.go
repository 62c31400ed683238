package rle

import (
	"testing"

	"ridgerule/dicomio/internal/codec/codectest"
)

// Outside truth: published files, against their published native twins or what another decoder makes of them.
func TestPublishedFiles(t *testing.T) {
	const cornerstone, selected = "cornerstone-transfer-syntaxes/CTImage.dcm_", "pydicom-data-selected/"
	const native = cornerstone + "LittleEndianExplicitTransferSyntax_1.2.840.10008.1.2.1.dcm"
	codectest.CheckPublished(t, Decode, []codectest.Published{
		{File: cornerstone + "RLELosslessTransferSyntax_1.2.840.10008.1.2.5.dcm", Twin: native},
		{File: selected + "emri_small_RLE.dcm", Twin: selected + "emri_small.dcm"},
		{File: "cornerstone-transfer-syntaxes/no-pixel-spacing.dcm", Twin: "dcmdrle"},
	})
}
