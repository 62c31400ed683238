package jpeg2000

import (
	"testing"

	"ridgerule/dicomio/internal/codec/codectest"
)

// Outside truth: published files, against their published native twins or what another decoder makes of them.
func TestPublishedFiles(t *testing.T) {
	const cornerstone, selected = "cornerstone-transfer-syntaxes/CTImage.dcm_", "pydicom-data-selected/"
	const native = cornerstone + "LittleEndianExplicitTransferSyntax_1.2.840.10008.1.2.1.dcm"
	codectest.CheckPublished(t, Decode, []codectest.Published{
		{File: cornerstone + "JPEG2000LosslessOnlyTransferSyntax_1.2.840.10008.1.2.4.90.dcm", Twin: native},
		{File: cornerstone + "JPEG2000TransferSyntax_1.2.840.10008.1.2.4.91.dcm", Twin: native, Within: 5},
		{File: cornerstone + "JPEG2000TransferSyntax_1.2.840.10008.1.2.4.91.dcm", Twin: "gdcmconv --raw", Within: 1},
		{File: selected + "693_J2KR.dcm", Twin: selected + "693_UNCR.dcm"},
		{File: selected + "emri_small_jpeg_2k_lossless.dcm", Twin: selected + "emri_small.dcm"},
		{File: selected + "explicit_VR-UN.dcm", Twin: "gdcmconv --raw"},
	})
}
