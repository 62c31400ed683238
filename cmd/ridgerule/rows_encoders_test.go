package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/dicomio/craft"
)

// Rows 24 and 25 with the pixels of outside encoders (GDCM's and DCMTK's programs, where they are installed): lossless
// ones give the untroubled numbers to the last digit, a near-lossless one the caution.
func TestRow24EncodersThroughBothVerbs(t *testing.T) {
	for _, r := range []struct {
		tricky
		encoder []string
	}{
		{read(24, "RLE", nil).list("RLE"), []string{"gdcmconv", "--rle"}},
		{read(24, "JPEG Lossless", nil).list("JPEG Lossless"), []string{"gdcmconv", "--jpeg"}},
		{read(24, "JPEG Lossless, any selection value", nil).list("JPEG Lossless"), []string{"dcmcjpeg", "+el"}},
		{read(24, "JPEG-LS", nil).list("JPEG-LS"), []string{"dcmcjpls", "+el"}},
		{read(24, "JPEG 2000", nil).list("JPEG 2000"), []string{"gdcmconv", "--j2k"}},
		{read(25, "JPEG-LS, near", nil).list("JPEG-LS").near(0.02).caution("lossy"), []string{"dcmcjpls", "+en", "+md", "2"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			program, err := exec.LookPath(r.encoder[0])
			if err != nil {
				t.Skip(r.encoder[0] + " is not here")
			}
			r.files = func(t *testing.T, dir string) string {
				in := t.TempDir()
				framed(craft.EnhancedCT, true, func(c *craft.File) { c.US(0x00280103, 0).Set(0x0020000D, "UI", "1.2.3.1") })(t, in)
				names, err := os.ReadDir(in)
				require.NoError(t, err)
				args := append(append([]string{}, r.encoder[1:]...), filepath.Join(in, names[0].Name()), filepath.Join(dir, "IM0001.dcm"))
				out, err := exec.Command(program, args...).CombinedOutput()
				require.NoError(t, err, "%s", out)
				return dir
			}
			r.check(t)
		})
	}
}
