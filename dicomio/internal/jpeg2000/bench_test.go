package jpeg2000

import (
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"ridgerule/dicomio/internal/codec"
	"ridgerule/dicomio/internal/codec/codectest"
)

// Pixel megabytes a second of one core: a 512 × 512 slice of 12 bits in 16, coded by opj_compress.
func BenchmarkDecode(b *testing.B) {
	tool, err := exec.LookPath("opj_compress")
	if err != nil {
		b.Skip("needs opj_compress (Debian libopenjp2-tools)")
	}
	s := codec.Shape{Columns: 512, Rows: 512, Allocated: 16, Stored: 12}
	var raw []byte
	for _, v := range codectest.Slice(s, 1) {
		raw = binary.LittleEndian.AppendUint16(raw, v)
	}
	for name, options := range map[string]string{"reversible": "", "irreversible": "-I -r 10"} {
		b.Run(name, func(b *testing.B) {
			in, out := filepath.Join(b.TempDir(), "in.rawl"), filepath.Join(b.TempDir(), "out.j2k")
			if err := os.WriteFile(in, raw, 0o600); err != nil {
				b.Fatal(err)
			}
			args := append([]string{"-i", in, "-o", out, "-F", "512,512,1,12,u"}, strings.Fields(options)...)
			if log, err := exec.Command(tool, args...).CombinedOutput(); err != nil {
				b.Fatalf("%v\n%s", err, log)
			}
			frame, err := os.ReadFile(out)
			if err != nil {
				b.Fatal(err)
			}
			dst := make([]uint16, 512*512)
			b.SetBytes(int64(2 * len(dst)))
			for b.Loop() {
				if err := Decode(dst, frame, s); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(2*len(dst))/float64(len(frame)), "ratio")
		})
	}
}
