package jpegls

import (
	"testing"

	"ridgerule/dicomio/internal/codec/codectest"
)

// Outside truth: published files, against their published native twins or what another decoder makes of them.
func TestPublishedFiles(t *testing.T) {
	const cornerstone, selected = "cornerstone-transfer-syntaxes/CTImage.dcm_", "pydicom-data-selected/"
	const native = cornerstone + "LittleEndianExplicitTransferSyntax_1.2.840.10008.1.2.1.dcm"
	codectest.CheckPublished(t, Decode, []codectest.Published{
		{File: cornerstone + "JPEGLSLosslessTransferSyntax_1.2.840.10008.1.2.4.80.dcm", Twin: native},
		{File: cornerstone + "JPEGLSLossyTransferSyntax_1.2.840.10008.1.2.4.81.dcm", Twin: native, Within: 1},
		{File: cornerstone + "JPEGLSLossyTransferSyntax_1.2.840.10008.1.2.4.81.dcm", Twin: "gdcmconv --raw"},
		{File: selected + "emri_small_jpeg_ls_lossless.dcm", Twin: selected + "emri_small.dcm"},
		{File: selected + "JLSL_16_15_1_1F.dcm", Twin: "dcmdjpls"},
	})
}
