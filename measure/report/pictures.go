package report

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/png"
	"io"
	"io/fs"
	"math"

	"ridgerule/measure"
	"ridgerule/measure/reformat"
)

// The grey values behind the drawings are kept as 16-bit PNG files beside the result, so that a
// report can be made again without the volume. A text chunk says where the picture lies:
//
//	u = first_u + column·step      grey = low + (stored − 1)·grain, stored 0: outside the field
//	v = first_v − row·step
//
// Source of the chunk layout: PNG specification (W3C, third edition), 5.3 and 11.3.3.2.
const pictureKey = "plane"

// ErrPicture is what [ReadPicture] returns for a file that is no picture of ours.
var ErrPicture = errors.New("report: not a picture file")

const maxPicture = 64 << 20 // bytes, and the most pixels: far above any section

func (v *View) pictureJobs() []job {
	var out []job
	for i, s := range v.c.Result.Sites {
		if p := v.c.section(s.ID); p != nil {
			out = append(out, job{"pictures/" + v.names[i] + ".png", p.write})
		}
	}
	if v.c.Panoramic != nil {
		out = append(out, job{"pictures/panoramic.png", v.c.Panoramic.write})
	}
	return out
}

// scale returns the least grey value that is kept and the step between two that are, relative grey
// values without unit: one, or more where the range is wide.
func (p Picture) scale() (low, grain float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, g := range p.Grey {
		if x := float64(g); !math.IsNaN(x) && !math.IsInf(x, 0) {
			low, high = math.Min(low, x), math.Max(high, x)
		}
	}
	if low > high {
		low, high = 0, 0
	}
	low = math.Floor(low)
	return low, math.Max(1, math.Ceil((high-low)/65000))
}

// AsKept returns the picture as [ReadPicture] gives it back, so that what is drawn of it now and what is
// drawn of the kept one are the same to the bit.
func (p Picture) AsKept() Picture {
	low, grain := p.scale()
	grey := make([]float32, len(p.Grey))
	for i, g := range p.Grey {
		grey[i] = float32(math.NaN())
		if x := float64(g); !math.IsNaN(x) && !math.IsInf(x, 0) {
			grey[i] = float32(low + math.Round((x-low)/grain)*grain)
		}
	}
	p.Grey = grey
	return p
}

// write encodes the picture in 16 bits, one grey value a step or finer where the range is small.
func (p Picture) write(w io.Writer) error { return p.encode(w, &quick) }

func (p Picture) encode(w io.Writer, by *png.Encoder) error {
	low, grain := p.scale()
	img := image.NewGray16(image.Rect(0, 0, p.Width, p.Height))
	for i, g := range p.Grey {
		stored := 0.0
		if x := float64(g); !math.IsNaN(x) && !math.IsInf(x, 0) {
			stored = 1 + math.Round((x-low)/grain)
		}
		img.SetGray16(i%p.Width, i/p.Width, color.Gray16{Y: uint16(stored)})
	}
	var b bytes.Buffer
	if err := by.Encode(&b, img); err != nil {
		return err
	}
	place := fmt.Sprintf("%v %v %v %v %v", p.First.U, p.First.V, p.Step, low, grain)
	return insert(w, b.Bytes(), "tEXt", append([]byte(pictureKey+"\x00"), place...))
}

// insert writes the PNG file with one more chunk behind its header.
func insert(w io.Writer, file []byte, kind string, body []byte) error {
	const head = 8 + 4 + 4 + 13 + 4 // signature and IHDR
	named := append([]byte(kind), body...)
	chunk := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	chunk = append(chunk, named...)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(named))
	for _, part := range [][]byte{file[:head], chunk, file[head:]} {
		if _, err := w.Write(part); err != nil {
			return err
		}
	}
	return nil
}

// ReadPicture reads a picture that [Files] kept; grey values come back to half a step of one grey
// value (or of 1/65000 of the range). An error wraps [ErrPicture].
func ReadPicture(r io.Reader) (Picture, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxPicture+1))
	if err != nil {
		return Picture{}, err
	}
	if len(data) > maxPicture {
		return Picture{}, fmt.Errorf("%w: more than %d bytes", ErrPicture, maxPicture)
	}
	size, err := png.DecodeConfig(bytes.NewReader(data))
	if err != nil || size.Width*size.Height > maxPicture {
		return Picture{}, fmt.Errorf("%w: %v", ErrPicture, err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		return Picture{}, fmt.Errorf("%w: %v", ErrPicture, err)
	}
	deep, is := img.(*image.Gray16)
	if !is {
		return Picture{}, fmt.Errorf("%w: not 16-bit grey", ErrPicture)
	}
	return placed(deep, data)
}

func placed(img *image.Gray16, data []byte) (Picture, error) {
	var u, v, step, low, grain float64
	at := bytes.Index(data, []byte("tEXt"+pictureKey+"\x00"))
	if at < 4 {
		return Picture{}, fmt.Errorf("%w: no place in it", ErrPicture)
	}
	text := data[at+len("tEXt"+pictureKey)+1:]
	n := int(binary.BigEndian.Uint32(data[at-4:])) - len(pictureKey) - 1
	if n < 0 || n > len(text) {
		return Picture{}, fmt.Errorf("%w: its place is cut short", ErrPicture)
	}
	if _, err := fmt.Sscan(string(text[:n]), &u, &v, &step, &low, &grain); err != nil {
		return Picture{}, fmt.Errorf("%w: its place: %v", ErrPicture, err)
	}
	b := img.Bounds()
	p := Picture{First: reformat.UV{U: u, V: v}, Step: step, Width: b.Dx(), Height: b.Dy(), Grey: make([]float32, b.Dx()*b.Dy())}
	for i := range p.Grey {
		stored := img.Gray16At(i%p.Width, i/p.Width).Y
		p.Grey[i] = float32(low + float64(stored-1)*grain)
		if stored == 0 {
			p.Grey[i] = float32(math.NaN())
		}
	}
	if err := p.check("read"); err != nil || math.IsNaN(u+v+low+grain) {
		return Picture{}, fmt.Errorf("%w: %v", ErrPicture, err)
	}
	return p, nil
}

// ReadPictures reads the pictures kept beside a result: folder is the case's folder. A picture
// that is not there is left out; one that cannot be read is an error.
func ReadPictures(folder fs.FS, r *measure.Result) (sections map[string]Picture, panoramic *Picture, err error) {
	sections = map[string]Picture{}
	names := fileNames(r.Sites)
	for i, s := range r.Sites {
		p, err := pictureIn(folder, names[i])
		if err != nil {
			return nil, nil, err
		}
		if p != nil {
			sections[s.ID] = *p
		}
	}
	panoramic, err = pictureIn(folder, "panoramic")
	return sections, panoramic, err
}

func pictureIn(folder fs.FS, name string) (*Picture, error) {
	f, err := folder.Open("pictures/" + name + ".png")
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	p, err := ReadPicture(f)
	if err != nil {
		return nil, fmt.Errorf("pictures/%s.png: %w", name, err)
	}
	return &p, nil
}
