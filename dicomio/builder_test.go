package dicomio

import (
	"fmt"
	"io/fs"
	"math"
	"sort"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/volume"
)

// folder returns a file system of the slices, named so that neither order nor name says anything.
func folder(files ...*craft.File) fstest.MapFS {
	fsys := fstest.MapFS{}
	for i, f := range files {
		add(fsys, fmt.Sprintf("%02d", (i*7+3)%1009), f.Bytes())
	}
	return fsys
}

func add(fsys fstest.MapFS, name string, data []byte) {
	fsys[name] = &fstest.MapFile{Data: data, ModTime: time.Unix(1, 0)}
}

// scanned opens and scans a file system.
func scanned(t testing.TB, fsys fs.FS) (*Catalogue, error) {
	t.Helper()
	input, err := NewInput(fsys, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return Scan(t.Context(), input, Limits{})
}

// only scans and picks without a selector.
func only(t testing.TB, fsys fs.FS) *Series {
	t.Helper()
	cat, err := scanned(t, fsys)
	if err != nil {
		t.Fatal(err)
	}
	s, err := cat.Pick("")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// readOnly scans, picks and reads.
func readOnly(t testing.TB, fsys fs.FS) (*Series, *volume.Volume) {
	t.Helper()
	s := only(t, fsys)
	v, err := s.Read(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return s, v
}

// refused checks that the picked series is unfit with code, that Read says so with our type, that the message holds
// every word, and that it holds no identity.
func refused(t testing.TB, fsys fs.FS, code string, words ...string) *SeriesError {
	t.Helper()
	s := only(t, fsys)
	if s.Verdict() != Unfit {
		t.Fatalf("verdict %v, want unfit with %s", s.Verdict(), code)
	}
	v, err := s.Read(t.Context(), nil)
	e, ours := err.(*SeriesError)
	if v != nil || !ours {
		t.Fatalf("Read gave %v, %v, want a *SeriesError", v, err)
	}
	found := false
	for _, p := range s.Problems {
		found = found || p.Code == code
	}
	if !found {
		t.Errorf("problems %v, want code %s", s.Problems, code)
	}
	text := ""
	for _, p := range s.Problems {
		text += p.Error() + "\n"
	}
	says(t, text, words...)
	return e
}

func says(t testing.TB, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("message lacks %q:\n%s", w, text)
		}
	}
	for _, secret := range []string{"Secret", craft.PatientID, craft.PatientBirthDate} {
		if strings.Contains(text, secret) {
			t.Errorf("message holds identity %q:\n%s", secret, text)
		}
	}
}

// cautioned checks that the series is fit with exactly these cautions.
func cautioned(t testing.TB, s *Series, codes ...string) {
	t.Helper()
	var got []string
	for _, c := range s.Cautions {
		got = append(got, c.Code)
		says(t, c.Text)
	}
	sort.Strings(got)
	sort.Strings(codes)
	if fmt.Sprint(got) != fmt.Sprint(codes) {
		t.Errorf("cautions %v, want %v: %v", got, codes, s.Cautions)
	}
	want := Fit
	if len(codes) > 0 {
		want = FitWithCautions
	}
	if s.Verdict() != want {
		t.Errorf("verdict %v, want %v: %v", s.Verdict(), want, s.Problems)
	}
}

// greyWant is the grey value of pixel i of slice k as slice makes it.
func greyWant(k, i int) float64 { return float64(100*k+i-15) - 1000 }

// sameStack checks that v is the plain stack of n slices, voxel for voxel.
func sameStack(t testing.TB, v *volume.Volume, n int) {
	t.Helper()
	if v.Size != [3]int{6, 5, n} {
		t.Fatalf("size %v, want 6 × 5 × %d", v.Size, n)
	}
	for k := range n {
		for i := range 30 {
			if got := v.Grey(i%6, i/6, k); got != greyWant(k, i) {
				t.Fatalf("grey value of (%d, %d, %d) = %v, want %v", i%6, i/6, k, got, greyWant(k, i))
			}
		}
	}
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.9g, want %.9g within %g", what, got, want, tolerance)
	}
}
