package jpeglossless

import (
	"testing"

	"ridgerule/dicomio/internal/codec/codectest"
)

// Outside truth: published files, against their published native twins or what another decoder makes of them.
func TestPublishedFiles(t *testing.T) {
	const cornerstone, selected = "cornerstone-transfer-syntaxes/CTImage.dcm_", "pydicom-data-selected/"
	const native = cornerstone + "LittleEndianExplicitTransferSyntax_1.2.840.10008.1.2.1.dcm"
	codectest.CheckPublished(t, Decode, []codectest.Published{
		{File: cornerstone + "JPEGProcess14TransferSyntax_1.2.840.10008.1.2.4.57.dcm", Twin: native},
		{File: cornerstone + "JPEGProcess14SV1TransferSyntax_1.2.840.10008.1.2.4.70.dcm", Twin: native},
		{File: selected + "JPEG-LL.dcm", Twin: "dcmdjpeg"},
		{File: selected + "JPEG-LL.dcm", Twin: "gdcmconv --raw"},
		{File: selected + "bad_sequence.dcm", Twin: "dcmdjpeg"},
	})
}
