package align

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/phantom"
)

// elastixWay has the outside program do the same: a rigid transform by mutual information, three sizes of voxel, points at
// random off the grid. Its names are the program's own.
const elastixWay = `(FixedInternalImagePixelType "float")
(MovingInternalImagePixelType "float")
(Registration "MultiResolutionRegistration")
(Interpolator "LinearInterpolator")
(ResampleInterpolator "FinalBSplineInterpolator")
(Resampler "DefaultResampler")
(FixedImagePyramid "FixedSmoothingImagePyramid")
(MovingImagePyramid "MovingSmoothingImagePyramid")
(Optimizer "AdaptiveStochasticGradientDescent")
(Transform "EulerTransform")
(Metric "AdvancedMattesMutualInformation")
(AutomaticScalesEstimation "true")
(AutomaticTransformInitialization "false")
(HowToCombineTransforms "Compose")
(NumberOfHistogramBins 32)
(NumberOfResolutions 3)
(ImagePyramidSchedule 4 4 4 2 2 2 0 0 0)
(MaximumNumberOfIterations %d)
(NumberOfSpatialSamples 4000)
(NewSamplesEveryIteration "true")
(ImageSampler "RandomCoordinate")
(CheckNumberOfSamples "false")
(RandomSeed 3)
(WriteResultImage "false")
`

// writeMeta writes a volume along the axes as a MetaImage, which the program reads; its frame is the patient's.
func writeMeta(t *testing.T, dir, name string, v *volume.Volume) string {
	t.Helper()
	raw := make([]byte, 2*len(v.Stored))
	for i, x := range v.Stored {
		binary.LittleEndian.PutUint16(raw[2*i:], uint16(x))
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, name+".raw"), raw, 0o600))
	h, s := v.Spacing(), v.Size
	text := fmt.Sprintf("ObjectType = Image\nNDims = 3\nBinaryData = True\nBinaryDataByteOrderMSB = False\nTransformMatrix = 1 0 0 0 1 0 0 0 1\nOffset = %.12g %.12g %.12g\nElementSpacing = %.12g %.12g %.12g\nDimSize = %d %d %d\nElementType = MET_SHORT\nElementDataFile = %s.raw\n",
		v.Origin.X, v.Origin.Y, v.Origin.Z, h[0], h[1], h[2], s[0], s[1], s[2], name)
	path := filepath.Join(dir, name+".mhd")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// byElastix returns where the outside program takes points (mm) of the first scan.
func byElastix(t *testing.T, p scanned, steps int, points []r3.Vec) []r3.Vec {
	t.Helper()
	dir := t.TempDir()
	first, second := writeMeta(t, dir, "first", p.first), writeMeta(t, dir, "second", p.second)
	way, list := filepath.Join(dir, "way.txt"), filepath.Join(dir, "points.txt")
	require.NoError(t, os.WriteFile(way, []byte(fmt.Sprintf(elastixWay, steps)), 0o600))
	var b strings.Builder
	fmt.Fprintf(&b, "point\n%d\n", len(points))
	for _, q := range points {
		fmt.Fprintf(&b, "%.9g %.9g %.9g\n", q.X, q.Y, q.Z)
	}
	require.NoError(t, os.WriteFile(list, []byte(b.String()), 0o600))
	out, err := exec.Command("elastix", "-f", first, "-m", second, "-p", way, "-out", dir, "-threads", "2").CombinedOutput()
	require.NoError(t, err, string(out))
	out, err = exec.Command("transformix", "-def", list, "-tp", filepath.Join(dir, "TransformParameters.0.txt"), "-out", dir).CombinedOutput()
	require.NoError(t, err, string(out))
	text, err := os.ReadFile(filepath.Join(dir, "outputpoints.txt"))
	require.NoError(t, err)
	var moved []r3.Vec
	for _, m := range regexp.MustCompile(`OutputPoint = \[ (\S+) (\S+) (\S+) \]`).FindAllStringSubmatch(string(text), -1) {
		var x [3]float64
		for i := range x {
			x[i], err = strconv.ParseFloat(m[i+1], 64)
			require.NoError(t, err)
		}
		moved = append(moved, r3.Vec{X: x[0], Y: x[1], Z: x[2]})
	}
	require.Len(t, moved, len(points))
	return moved
}

// elastix 5 (Debian), another engine altogether, comes to the same place: 0.02 mm on five pairs with RIDGERULE_LONG in voxels
// of 0.4 mm; on one of 0.7 and 0.8 mm voxels, in few steps, 0.03.
func TestScansAgreeWithElastix(t *testing.T) {
	for _, program := range []string{"elastix", "transformix"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Skip("needs elastix (Debian package elastix): " + err.Error())
		}
	}
	if !long() {
		p, fit := pairOnce()
		sameAsElastix(t, p, fit, 250, 0.03)
		return
	}
	for seed := range uint64(5) {
		o := jawOf(phantom.Kind(seed%2), 30+seed, 0.4)
		v := movedVisit(0.45)
		v.Scan.Blur, v.Turn.X, v.Shift.Y = o.Scan.Blur, float64(seed)*2-4, float64(seed)
		p := scanTwice(t, o, v)
		fit, err := Scans(context.Background(), p.first, p.second, ScanOptions{})
		require.NoError(t, err)
		sameAsElastix(t, p, fit, 600, 0.02)
	}
}

func sameAsElastix(t *testing.T, p scanned, fit *ScanFit, steps int, within float64) {
	t.Helper()
	var points []r3.Vec
	for _, s := range p.jaw.Plan().Sites {
		points = append(points, s.Platform, r3.Add(s.Platform, r3.Scale(s.Length, s.Implant)))
	}
	sum, own := 0.0, 0.0
	for i, q := range byElastix(t, p, steps, points) {
		sum += r3.Norm2(r3.Sub(q, fit.Apply(points[i])))
		own += r3.Norm2(r3.Sub(q, p.again.Point(points[i])))
	}
	n := float64(len(points))
	t.Logf("apart %.4f mm RMS at %d points; the program itself is %.4f off, ours %.4f", math.Sqrt(sum/n), len(points), math.Sqrt(own/n), p.target(fit.Transform))
	require.LessOrEqual(t, math.Sqrt(sum/n), within)
}
