package report

import (
	"bytes"
	"encoding/json"
	"io"
	"math"
	"strings"
	"sync"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
)

func samplePanoramic() *Picture {
	p := Picture{Step: 0.4, Width: 190, Height: 100}
	p.First.U, p.First.V = 0, 18
	for i := range p.Width * p.Height {
		v := p.First.V - float64(i/p.Width)*p.Step
		p.Grey = append(p.Grey, float32(300+300*math.Sin(float64(i%p.Width)/9)*math.Cos(v/5)))
	}
	return &p
}

func fullCase() Case {
	c := sampleCase()
	c.Panoramic = samplePanoramic()
	return c
}

// sampleFiles are made once: eight tests look at them.
var sampleFiles = sync.OnceValues(func() ([]File, error) { return filesOf(fullCase()) })

func TestFilesAreTheContract(t *testing.T) {
	files, err := sampleFiles()
	require.NoError(t, err)
	var got []string
	for _, f := range files {
		got = append(got, f.Name)
		require.NotEmpty(t, f.Data, f.Name)
		lookAt(t, strings.ReplaceAll(f.Name, "/", "-"), f.Data)
	}
	require.Equal(t, []string{
		"measurements.csv", "sites.csv", "result.json", "datapackage.json", "report.html",
		"sections/47.png", "sections/46.png", "sections/35.png", "sections/36.png", "panoramic.png", "arch.svg",
		"pictures/46.png", "pictures/35.png", "pictures/36.png", "pictures/panoramic.png",
	}, got)
}

func TestSameCaseSameBytes(t *testing.T) {
	first, err := sampleFiles()
	require.NoError(t, err)
	second, err := filesOf(fullCase())
	require.NoError(t, err)
	require.Equal(t, first, second)
}

// The package's sizes and hashes are those of the files beside it.
func TestPackageHashesItsTables(t *testing.T) {
	files, err := sampleFiles()
	require.NoError(t, err)
	var p packageJSON
	require.NoError(t, json.Unmarshal(files[3].Data, &p))
	for i, r := range p.Resources {
		require.Equal(t, files[i].Name, r.Path)
		require.EqualValues(t, len(files[i].Data), r.Bytes)
		require.Equal(t, resource(Table{Data: files[i].Data}).Hash, r.Hash)
	}
}

// A report made again from result.json and the pictures beside it is the report.
func TestReportIsMadeAgainWithoutTheVolume(t *testing.T) {
	folder := fstest.MapFS{}
	kept, err := sampleFiles()
	require.NoError(t, err)
	for _, f := range kept {
		require.NoError(t, put(f, func(name string) (io.WriteCloser, error) {
			folder[name] = &fstest.MapFile{}
			return closer{folder[name]}, nil
		}))
	}
	r, p, err := ReadJSON(bytes.NewReader(folder["result.json"].Data))
	require.NoError(t, err)
	again := Case{Result: r, Provenance: p}
	again.Sections, again.Panoramic, err = ReadPictures(folder, r)
	require.NoError(t, err)
	files, err := filesOf(again)
	require.NoError(t, err)
	require.Len(t, files, len(folder))
	for _, f := range files {
		// A grey value is kept to half a unit, so a picture's 8 bits may differ by one step.
		if strings.HasSuffix(f.Name, ".csv") || strings.HasSuffix(f.Name, ".json") || strings.HasPrefix(f.Name, "pictures/") {
			require.Equal(t, string(folder[f.Name].Data), string(f.Data), f.Name)
		}
	}
	require.Equal(t, folder["report.html"].Data[:2000], files[4].Data[:2000])
}

type closer struct{ f *fstest.MapFile }

func (c closer) Write(p []byte) (int, error) { c.f.Data = append(c.f.Data, p...); return len(p), nil }
func (c closer) Close() error                { return nil }

func TestPictureComesBack(t *testing.T) {
	want := samplePicture()
	var b bytes.Buffer
	require.NoError(t, want.write(&b))
	got, err := ReadPicture(&b)
	require.NoError(t, err)
	require.Equal(t, want.First, got.First)
	require.Equal(t, want.Step, got.Step)
	for i, g := range want.Grey {
		if math.IsNaN(float64(g)) {
			require.True(t, math.IsNaN(float64(got.Grey[i])))
			continue
		}
		require.InDelta(t, g, got.Grey[i], 0.5+1e-3)
	}
}

func FuzzReadPicture(f *testing.F) {
	var b bytes.Buffer
	p := Picture{Step: 0.3, Width: 3, Height: 2, Grey: []float32{1, 2, 3, 4, 5, float32(math.NaN())}}
	if err := p.write(&b); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := ReadPicture(bytes.NewReader(data))
		if err != nil {
			require.ErrorIs(t, err, ErrPicture)
			return
		}
		require.NoError(t, p.check("fuzzed"))
	})
}

func TestFileNamesNeitherClimbNorCollide(t *testing.T) {
	ids := []string{"../../etc/passwd", "36", "36", "", ".hidden", "a/b", "a:b", strings.Repeat("x", 300)}
	var sites []measure.SiteResult
	for _, id := range ids {
		sites = append(sites, measure.SiteResult{ID: id})
	}
	names := fileNames(sites)
	seen := map[string]bool{}
	for _, n := range names {
		require.False(t, seen[n], n)
		seen[n] = true
		require.NotContains(t, n, "/")
		require.False(t, strings.HasPrefix(n, "."), n)
		require.LessOrEqual(t, len(n), 70)
	}
	require.Equal(t, "36", names[1])
}

func TestPictureOfWrongSizeIsRefused(t *testing.T) {
	c := sampleCase()
	p := samplePicture()
	p.Grey = p.Grey[1:]
	c.Sections["36"] = p
	_, err := filesOf(c)
	require.ErrorContains(t, err, "28499 grey values for 150 × 190 pixels")
}

func TestDateHonoursTheEnvironment(t *testing.T) {
	got, err := Date(func(string) string { return "1700000000" }, nil)
	require.NoError(t, err)
	require.Equal(t, "2023-11-14T22:13:20Z", got.Format("2006-01-02T15:04:05Z07:00")) // date -u -d @1700000000
	_, err = Date(func(string) string { return "soon" }, nil)
	require.ErrorContains(t, err, "SOURCE_DATE_EPOCH")
}

func BenchmarkFilesOfEightSites(b *testing.B) {
	c := fullCase()
	one := c.Result.Sites[3]
	c.Result.Sites = nil
	for _, id := range []string{"31", "32", "33", "34", "35", "36", "37", "38"} {
		one.ID = id
		c.Result.Sites = append(c.Result.Sites, one)
		c.Sections[id] = samplePicture()
	}
	size := 0
	for b.Loop() {
		files, err := filesOf(c)
		if err != nil {
			b.Fatal(err)
		}
		size = len(files[4].Data)
	}
	b.ReportMetric(float64(size), "html-bytes")
}
