package accuracy

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/png"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
	"ridgerule/measure/phantom"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
)

func TestLook(t *testing.T) {
	seed, err := strconv.Atoi(os.Getenv("LOOK"))
	if err != nil {
		t.Skip("LOOK")
	}
	kind := phantom.Kind(seed % 2)
	draw := phantom.Random(uint64(seed), kind)
	draw.Scan.Voxel, draw.Scan.Blur, draw.Scan.Noise, draw.Hand = [3]float64{0.3, 0.3, 0.3}, 0.2, 50, 0
	small, err := draw.Small(teeth[kind][seed/2%6], 24)
	require.NoError(t, err)
	jaw, err := phantom.New(small)
	require.NoError(t, err)
	v, err := jaw.Volume(context.Background(), nil)
	require.NoError(t, err)
	var text bytes.Buffer
	require.NoError(t, jaw.Plan().Write(&text))
	plan, err := measure.ReadPlan("plan.yaml", text.Bytes(), nil)
	require.NoError(t, err)
	c, err := reformat.NewCurve(plan.Arch, plan.Occlusal)
	require.NoError(t, err)
	s, _ := c.Project(*plan.Sites[0].At)
	f := reformat.NewField(v, c.Frame(s))
	o, err := ridge.Trace(f, ridge.Tissue{})
	require.NoError(t, err)
	sec := f.Section(reformat.UV{U: -17, V: -25}, reformat.UV{U: 17, V: 15}, 0.05)
	im := image.NewGray(image.Rect(0, 0, sec.Width, sec.Height))
	for i, g := range sec.Grey {
		x := (g + 1050) / 2700 * 255
		if !(x > 0) {
			x = 0
		}
		if x > 255 {
			x = 255
		}
		im.Set(i%sec.Width, i/sec.Width, color.Gray{uint8(x)})
	}
	for _, p := range o.Points {
		x, y := sec.Pixel(p)
		for d := range 9 {
			im.Set(int(x)+d%3, int(y)+d/3, color.Gray{255})
		}
	}
	out, err := os.Create("/tmp/rr/look.png")
	require.NoError(t, err)
	require.NoError(t, png.Encode(out, im))
	out.Close()
}
