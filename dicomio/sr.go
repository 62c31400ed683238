package dicomio

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Code is a coded concept: value, coding scheme, meaning.
type Code struct{ Value, Scheme, Meaning string }

// Node is one content item of a structured report.
//
// Source: DICOM PS3.3 C.17.3.
type Node struct {
	Relation string // to its parent: "CONTAINS", "HAS CONCEPT MOD", "HAS OBS CONTEXT", "HAS PROPERTIES", "INFERRED FROM"; "" at the root
	Type     string // "CONTAINER", "CODE", "TEXT", "NUM", "UIDREF", "SCOORD3D"
	Name     Code
	Text     string   // of a TEXT or UIDREF; the number of a NUM, at most 16 characters, "" when there is none
	Code     Code     // value of a CODE, unit of a NUM, and why a NUM has no number
	Points   []r3.Vec // of a SCOORD3D, patient LPS, mm: one is a POINT, several a POLYLINE
	Template string   // of a CONTAINER: its DCMR template
	Nodes    []Node
}

// comprehensive3D is Comprehensive 3D SR Storage.
const comprehensive3D = "1.2.840.10008.5.1.4.1.1.88.34"

// WriteSR writes a Comprehensive 3D SR document whose content is root, unverified, in the study
// and the frame of reference of src. Points are in that frame.
//
// Source: DICOM PS3.3 A.35.13, C.17.
func WriteSR(w io.Writer, src Source, made Made, root Node) error {
	sum := sha256.Sum256(fmt.Append(nil, src.Seed, src.Study, src.Series, made, root))
	o := &object{src: src, made: made, seed: sum[:]}
	instance := derivedUID("instance", o.seed)
	o.head0008(comprehensive3D, instance, "SR", "Ridge measurements", func() {})
	o.free(0x00081090, "LO", made.Tool, 64)
	o.sequence(0x00081111)
	o.patient()
	o.free(0x00181000, "LO", "none", 64) // a serial number is demanded; software has none
	o.free(0x00181020, "LO", made.Version, 64)
	o.group0020(derivedUID("series", o.seed), "901")
	o.node(&o.encoder, root, o.flags)
	_, err := w.Write(o.file(comprehensive3D, instance))
	return err
}

// flags writes what a document has between its root's value and its content.
func (o *object) flags() {
	o.sequence(0x0040A372)
	if len(o.src.Images) > 0 {
		o.sequence(0x0040A375, o.evidence())
	}
	o.text(0x0040A491, "CS", "COMPLETE")
	o.text(0x0040A493, "CS", "UNVERIFIED")
}

// evidence returns the item that names the source images: study, series, instances.
func (o *object) evidence() encoder {
	var refs []encoder
	for _, uid := range o.src.images() {
		var ref encoder
		ref.text(0x00081150, "UI", o.src.class())
		ref.text(0x00081155, "UI", uid)
		refs = append(refs, ref)
	}
	var series, study encoder
	series.sequence(0x00081199, refs...)
	series.text(0x0020000E, "UI", o.src.replaced(o.src.Series, "source series"))
	study.sequence(0x00081115, series)
	study.text(0x0020000D, "UI", o.src.replaced(o.src.Study, "study"))
	return study
}

// node appends a content item and what is under it, in the order of the tags; between, if any,
// writes what belongs before the content.
func (o *object) node(e *encoder, n Node, between func()) {
	if n.Relation != "" {
		e.text(0x0040A010, "CS", n.Relation)
	}
	e.text(0x0040A040, "CS", n.Type)
	e.sequence(0x0040A043, codeItem(n.Name))
	switch n.Type {
	case "CONTAINER":
		e.text(0x0040A050, "CS", "SEPARATE")
	case "UIDREF":
		e.text(0x0040A124, "UI", n.Text)
	case "TEXT":
		e.free(0x0040A160, "UT", n.Text, 1<<20)
	case "CODE":
		e.sequence(0x0040A168, codeItem(n.Code))
	case "NUM":
		number(e, n)
	}
	if between != nil {
		between()
	}
	if n.Template != "" {
		var t encoder
		t.text(0x00080105, "CS", "DCMR")
		t.text(0x0040DB00, "CS", n.Template)
		e.sequence(0x0040A504, t)
	}
	if len(n.Nodes) > 0 {
		items := make([]encoder, len(n.Nodes))
		for i, child := range n.Nodes {
			o.node(&items[i], child, nil)
		}
		e.sequence(0x0040A730, items...)
	}
	if n.Type == "SCOORD3D" {
		points(e, n.Points)
		e.text(0x30060024, "UI", o.src.replaced(o.src.FrameOfReference, "frame of reference"))
	}
}

// number writes the value of a NUM with its unit, or the code that says why there is none.
func number(e *encoder, n Node) {
	if n.Text == "" {
		e.sequence(0x0040A300)
		e.sequence(0x0040A301, codeItem(n.Code))
		return
	}
	var value encoder
	value.sequence(0x004008EA, codeItem(n.Code))
	value.text(0x0040A30A, "DS", n.Text)
	e.sequence(0x0040A300, value)
}

// points writes the graphic data of a SCOORD3D: 32-bit floats, as the standard has them.
func points(e *encoder, at []r3.Vec) {
	e.head(0x00700022, "FL", 12*len(at))
	for _, p := range at {
		for _, x := range []float64{p.X, p.Y, p.Z} {
			e.b = binary.LittleEndian.AppendUint32(e.b, math.Float32bits(float32(x)))
		}
	}
	kind := "POLYLINE"
	if len(at) == 1 {
		kind = "POINT"
	}
	e.text(0x00700023, "CS", kind)
}

func codeItem(c Code) encoder {
	var e encoder
	e.free(0x00080100, "SH", c.Value, 16)
	e.free(0x00080102, "SH", c.Scheme, 16)
	e.free(0x00080104, "LO", c.Meaning, 64)
	return e
}
