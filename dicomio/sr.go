package dicomio

import (
	"encoding/binary"
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
	Type     string // "CONTAINER", "CODE", "TEXT", "NUM", "UIDREF", "IMAGE", "SCOORD3D"
	Name     Code
	Text     string   // of a TEXT or UIDREF; the instance UID of an IMAGE; the number of a NUM, at most 16 characters, "" when there is none
	Code     Code     // value of a CODE, unit of a NUM, and why a NUM has no number
	Points   []r3.Vec // of a SCOORD3D, patient LPS, mm: one is a POINT, several a POLYLINE
	Template string   // of a CONTAINER: its DCMR template
	Nodes    []Node
}

// comprehensive3D is Comprehensive 3D SR Storage.
const comprehensive3D = "1.2.840.10008.5.1.4.1.1.88.34"

// WriteSR writes a Comprehensive 3D SR document whose content is root, unverified, in the study and
// the frame of reference of src. Points are in that frame. It returns an error wrapping [ErrValue] for a number or a
// point that DICOM cannot hold.
//
// Source: DICOM PS3.3 A.35.13, C.17.
func WriteSR(w io.Writer, src Source, made Made, root Node) error {
	o := newObject(src, made, root)
	h := head{class: comprehensive3D, instance: derivedUID("instance", o.seed), modality: "SR", description: "Ridge measurements", scheme: ownScheme()}
	o.head0008(h)
	o.copyTo(0x00081090)
	o.free(0x00081090, "LO", made.Tool, 64)
	o.sequence(0x00081111)
	o.patient()
	o.free(0x00181000, "LO", "none", 64) // a serial number is demanded; software has none
	o.free(0x00181020, "LO", made.Version, 64)
	o.group0020(derivedUID("series", o.seed), "901", 1)
	o.node(&o.encoder, root, o.flags)
	return o.write(w, h)
}

// OwnScheme designates the codes that no published scheme has: docs/conformance.md lists them. A designator that begins
// with 99 is private. Source: DICOM PS3.3 8.2.
const OwnScheme = "99RIDGERULE"

// ownScheme is the item that says what [OwnScheme] is.
//
// Source: DICOM PS3.3 C.12.1.1.14 (Coding Scheme Identification Sequence).
func ownScheme() *encoder {
	var e encoder
	e.text(0x00080102, "SH", OwnScheme)
	e.text(0x00080103, "SH", "1")
	e.text(0x00080115, "ST", "Codes of ridgerule for measures of jaw bone")
	e.text(0x00080116, "ST", "ridgerule: docs/conformance.md")
	return &e
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
	for _, uid := range o.src.Instances() {
		refs = append(refs, o.image(uid))
	}
	var series, study encoder
	series.sequence(0x00081199, refs...)
	series.text(0x0020000E, "UI", o.src.refer(o.src.Series, "source series"))
	study.sequence(0x00081115, series)
	study.text(0x0020000D, "UI", o.src.refer(o.src.Study, "study"))
	return study
}

// image is the item that refers to one image.
func (o *object) image(uid string) (e encoder) {
	e.text(0x00081150, "UI", o.src.class())
	e.text(0x00081155, "UI", uid)
	return e
}

// node appends a content item and what is under it, in the order of the tags; between, if any,
// writes what belongs before the content.
func (o *object) node(e *encoder, n Node, between func()) {
	if n.Type == "IMAGE" {
		e.sequence(0x00081199, o.image(n.Text))
	}
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
		e.text(0x30060024, "UI", o.src.Frame())
	}
}

// number writes the value of a NUM with its unit, or the code that says why there is none.
func number(e *encoder, n Node) {
	if n.Text == "" {
		e.sequence(0x0040A300)
		e.sequence(0x0040A301, codeItem(n.Code))
		return
	}
	if _, err := decimal(n.Text); err != nil || len(n.Text) > 16 {
		e.refuse("%s of %s %s: a decimal string holds a number of 16 characters at most", n.Name.Meaning, printable(n.Text, 24), n.Code.Value)
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
			if f := float64(float32(x)); math.IsNaN(f) || math.IsInf(f, 0) {
				e.refuse("a point at %g mm: 32-bit floats hold its graphic data", x)
			}
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
