package main

import (
	"archive/zip"
	"bytes"
	"compress/zlib"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/require"

	"ridgerule/dicomio"
)

// An invented patient, whose identity stands wherever exports put it.
var identity = map[uint32][2]string{
	0x00080005: {"CS", "ISO_IR 192"},
	0x00080020: {"DA", "20210917"},
	0x00080050: {"SH", "ACC55443322"},
	0x00080080: {"LO", "Klinik Wunderthal"},
	0x00080081: {"ST", "Wunderthaler Weg 3"},
	0x00080090: {"PN", "Ibsenius^Dr"},
	0x00081010: {"SH", "WUNDERTHAL-CT1"},
	0x00081030: {"LO", "DVT Quillfeather, Zoë"},
	0x0008103E: {"LO", "Unterkiefer Quillfeather"},
	0x00090010: {"LO", "QUILLPRIVATE"},
	0x00091001: {"LO", "Quillfeather private"},
	0x00100010: {"PN", "Quillfeather^Zoë=久井流^ゾエ=くいる^ぞえ"},
	0x00100020: {"LO", "QX-778812-Z"},
	0x00100030: {"DA", "19340102"},
	0x00101001: {"PN", "Квиллова^Зоя"},
	0x00104000: {"LT", "Tochter: Quillfeather, Mia"},
	0x0020000D: {"UI", "1.2.840.99999.7781.1"},
	0x0020000E: {"UI", "1.2.840.99999.7781.2"},
	0x00200052: {"UI", "1.2.840.99999.7781.3"},
	0x00204000: {"LT", "Quillfeather, Zoë: Implantate"},
}

// needles are what no output may hold: pieces long enough not to meet by chance.
var needles = []string{"quillfeather", "zoë", "久井流", "ゾエ", "くいる", "ぞえ", "квиллова", "зоя", "qx-778812", "19340102",
	"20210917", "acc55443322", "wunderthal", "ibsenius", "quillprivate", "1.2.840.99999.7781"}

// identify gives the patient of every file in dir the identity, and each file an instance UID of it. The
// mark of a synthetic volume goes.
func identify(t *testing.T, dir string) {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "*"))
	require.NoError(t, err)
	for i, name := range names {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		head := 132 + 12 + int(binary.LittleEndian.Uint32(data[140:]))
		elements := map[uint32][]byte{}
		for at := head; at < len(data); {
			tag := uint32(binary.LittleEndian.Uint16(data[at:]))<<16 | uint32(binary.LittleEndian.Uint16(data[at+2:]))
			n := 8 + int(binary.LittleEndian.Uint16(data[at+6:]))
			if string(data[at+4:at+6]) == "OW" {
				n = 12 + int(binary.LittleEndian.Uint32(data[at+8:]))
			}
			elements[tag], at = data[at:at+n], at+n
		}
		delete(elements, 0x00120062)
		delete(elements, 0x00120063)
		for tag, e := range identity {
			elements[tag] = element(tag, e[0], e[1])
		}
		elements[0x00080018] = element(0x00080018, "UI", fmt.Sprintf("1.2.840.99999.7781.4.%d", i))
		var tags []uint32
		for tag := range elements {
			tags = append(tags, tag)
		}
		slices.Sort(tags)
		out := slices.Clone(data[:head])
		for _, tag := range tags {
			out = append(out, elements[tag]...)
		}
		require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("Quillfeather Zoë %04d.dcm", i)), out, 0o600))
		require.NoError(t, os.Remove(name))
	}
}

func element(tag uint32, vr, value string) []byte {
	if len(value)%2 == 1 {
		value += map[bool]string{true: "\x00", false: " "}[vr == "UI"]
	}
	b := binary.LittleEndian.AppendUint16(nil, uint16(tag>>16))
	b = binary.LittleEndian.AppendUint16(b, uint16(tag))
	b = append(b, vr...)
	return append(binary.LittleEndian.AppendUint16(b, uint16(len(value))), value...)
}

// found returns the needles that data holds: as text, in UTF-16, percent-encoded, in base64, as numbered
// entities or escapes, and inside whatever can be inflated in it (PDF streams, PNG chunks, fonts aside).
func found(data []byte) []string {
	var out []string
	for _, layer := range layers(data) {
		low := lower(layer)
		for _, n := range needles {
			for _, form := range packings[n] {
				if bytes.Contains(low, []byte(form)) && !slices.Contains(out, n) {
					out = append(out, n)
				}
			}
		}
	}
	sort.Strings(out)
	return out
}

// lower makes the letters A to Z small, and leaves every other byte: the data is not text.
func lower(data []byte) []byte {
	out := bytes.Clone(data)
	for i, b := range out {
		if b >= 'A' && b <= 'Z' {
			out[i] = b + 'a' - 'A'
		}
	}
	return out
}

// packings are the forms of each needle, with other letters than A to Z small and large.
var packings = func() map[string][]string {
	out := map[string][]string{}
	for _, n := range needles {
		r := []rune(n)
		for _, spelt := range []string{n, strings.ToUpper(n), strings.ToUpper(string(r[0])) + string(r[1:])} {
			for _, form := range forms(spelt) {
				if form = string(lower([]byte(form))); !slices.Contains(out[n], form) {
					out[n] = append(out[n], form)
				}
			}
		}
	}
	return out
}()

func forms(needle string) []string {
	units := utf16.Encode([]rune(needle))
	var le, be []byte
	for _, u := range units {
		le, be = binary.LittleEndian.AppendUint16(le, u), binary.BigEndian.AppendUint16(be, u)
	}
	entities, escapes, hex := "", "", ""
	for _, r := range needle {
		if r > '~' {
			entities, escapes = entities+fmt.Sprintf("&#%d;", r), escapes+fmt.Sprintf(`\u%04x`, r)
			continue
		}
		entities, escapes = entities+string(r), escapes+string(r)
	}
	for _, u := range units {
		hex += fmt.Sprintf("%04x", u) // of PDF strings
	}
	return []string{needle, string(le), string(be), url.PathEscape(needle), url.QueryEscape(needle), entities, escapes, hex}
}

var base64Run = regexp.MustCompile(`[A-Za-z0-9+/]{16,}={0,2}`)

// layers returns data and everything packed in it, one level down each way.
func layers(data []byte) [][]byte {
	out := [][]byte{data, []byte(strings.ReplaceAll(string(data), `\`, ""))} // PDF strings escape
	for _, packed := range base64Run.FindAll(data, -1) {
		plain, err := base64.StdEncoding.DecodeString(string(packed[:len(packed)/4*4]))
		if err == nil {
			out = append(out, plain)
			out = append(out, inflated(plain)...)
		}
	}
	return append(out, inflated(data)...)
}

// inflated returns what every zlib stream in data holds; it begins at bytes that only such streams have.
func inflated(data []byte) [][]byte {
	var out [][]byte
	for at := 0; at+2 < len(data); at++ {
		if data[at] != 0x78 || (uint(data[at])<<8|uint(data[at+1]))%31 != 0 {
			continue
		}
		z, err := zlib.NewReader(bytes.NewReader(data[at:]))
		if err != nil {
			continue
		}
		plain, err := io.ReadAll(io.LimitReader(z, 8<<20))
		if len(plain) > 16 {
			out = append(out, plain, bytes.ReplaceAll(plain, []byte(`\`), nil))
		}
		_ = err // a stream may be cut by chunks; what came is looked at
	}
	return out
}

// The finder finds what is planted, in every packing that an output has.
func TestFinderFinds(t *testing.T) {
	var z bytes.Buffer
	w := zlib.NewWriter(&z)
	_, err := w.Write([]byte(strings.Repeat("padding ", 8) + "(Zoë Quillfeather) Tj"))
	require.NoError(t, err)
	require.NoError(t, w.Close())
	for name, data := range map[string][]byte{
		"text": []byte("..QuillFeather.."), "percent": []byte("a%20Zo%C3%ABb"), "entity": []byte("Zo&#235;"), "escape": []byte(`"Zo\u00eb"`),
		"utf-16": {0xff, 0x4e, 0x45, 0x4e, 0x95, 0x6d, 0x41, 0xfe}, "utf-16 of capitals": []byte("\x04\x1a\x042\x048\x04;\x04;\x04>\x042\x040"), "deflated": z.Bytes(), "base64": []byte("data:," + base64.StdEncoding.EncodeToString(z.Bytes())),
		"escaped": []byte(`(Quill\feather)`), "uid": []byte("1.2.840.99999.7781.2\x00"),
	} {
		require.NotEmpty(t, found(data), name)
	}
	require.Empty(t, found([]byte("Zo, Quill, 1.2.840.99999.1")))
}

const identityPlan = `format: 1
case: pine-7
jaw: mandible
arch:
  points: [[-28, 11.36, 20], [-20, -4, 20], [-10, -16, 20], [0, -20, 20], [10, -16, 20], [20, -4, 20], [28, 11.36, 20]]
sites:
  - {tooth: "36", at: [20, -4, 20], height_to: border, axis: occlusal, implant: {diameter_mm: 4, length_mm: 10}}
structures:
  - {name: left canal, kind: canal, path: [[26, 6, 14], [14, -13, 14]], radius_mm: 1.5}
`

// spoken runs a command line and returns what it said on both streams.
func spoken(t *testing.T, args ...string) (status int, said string) {
	t.Helper()
	var out, err bytes.Buffer
	status = run(args, &out, &err)
	t.Logf("ridgerule %s: %d", args[0], status)
	return status, out.String() + err.String()
}

// everything asks for every output; record puts it into the folder out.
var everything = []string{"--pdf", "a4", "--day-sheet", "--dicom", "--stl"}

// patient makes the series and the plan, named after the patient, and returns their paths.
func patient(t *testing.T) (scan, plan string) {
	t.Helper()
	home := filepath.Join(t.TempDir(), "Quillfeather^Zoë 19340102")
	scan, plan = filepath.Join(home, "久井流 CT"), filepath.Join(home, "Quillfeather.yaml")
	require.NoError(t, dicomio.WriteCT(scan, ridgeVolume(), dicomio.WriteOptions{Comment: "as a scanner"}))
	identify(t, scan)
	require.NoError(t, os.WriteFile(plan, []byte(identityPlan), 0o600))
	twin, err := os.ReadFile(filepath.Join(scan, "Quillfeather Zoë 0003.dcm")) // earns a caution about a file
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(scan, "Copy of Quillfeather.dcm"), twin, 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(scan, "Quillfeather.txt"), []byte("Zoë"), 0o600))
	return scan, plan
}

// archived packs the files of dir, unpacked size and all, into a zip beside it that is named after the patient.
func archived(t *testing.T, dir string) string {
	t.Helper()
	path := filepath.Join(filepath.Dir(dir), "Quillfeather.zip")
	f, err := os.Create(path)
	require.NoError(t, err)
	w := zip.NewWriter(f)
	require.NoError(t, w.AddFS(os.DirFS(dir)))
	require.NoError(t, w.Close())
	require.NoError(t, f.Close())
	return path
}

func TestNoOutputNamesThePatient(t *testing.T) {
	t.Setenv("SOURCE_DATE_EPOCH", "1700000000")
	scan, plan := patient(t)
	packed, labelled := archived(t, scan), filepath.Join(filepath.Dir(plan), "pine-7.yaml")
	require.NoError(t, os.WriteFile(labelled, []byte(identityPlan), 0o600))
	out := t.TempDir()
	in := func(name string) string { return filepath.Join(out, name) }
	for _, c := range []struct {
		args   []string
		status int
	}{
		{[]string{"inspect", scan}, exitDone},
		{[]string{"inspect", scan, "--json"}, exitDone},
		{[]string{"check", plan, "--series", scan}, exitDone},
		{append([]string{"measure", scan, "--plan", plan, "-o", in("one")}, everything...), exitDone},
		{append([]string{"measure", packed, "--plan", labelled, "-o", in("two"), "--json"}, everything...), exitDone},
		{append([]string{"report", in("one/result.json"), "-o", in("again")}, everything...), exitDone},
		{[]string{"section", scan, "--plan", plan, "-o", in("pictures")}, exitDone},
		{[]string{"trace", scan, "--from", "26,6,14", "--to", "14,-13,14", "--name", "left canal", "-o", in("canal.yaml")}, -1},
		{[]string{"measure", scan, "--plan", plan, "-o", filepath.Join(scan, "inside")}, exitUsage},
		{[]string{"measure", filepath.Dir(scan) + "/Quillfeather", "--plan", plan, "-o", in("none")}, exitUsage},
		{[]string{"measure", scan, "Zoë Quillfeather", "--plan", plan, "-o", in("none")}, exitUsage},
	} {
		status, said := spoken(t, c.args...)
		require.Empty(t, found([]byte(said)), "%s said:\n%s", c.args[0], said)
		if c.status >= 0 {
			require.Equal(t, c.status, status, "%s said:\n%s", c.args[0], said)
		}
	}
	require.NoError(t, os.Truncate(filepath.Join(scan, "Quillfeather Zoë 0050.dcm"), 3000)) // an error about a file
	status, said := spoken(t, "measure", scan, "--plan", plan, "-o", in("none"))
	require.Equal(t, exitSeries, status)
	require.Contains(t, said, "…0050.dcm")
	require.Empty(t, found([]byte(said)), said)

	files := tree(out)
	require.Greater(t, len(files), 50)
	for name, data := range files {
		require.Empty(t, found(data), name)
		require.NotContains(t, string(data), ".yaml", "%s names the plan's file", name)
		require.Empty(t, found([]byte(name)), "a file's name")
		mode, err := os.Stat(in(name))
		require.NoError(t, err)
		require.Zero(t, mode.Mode().Perm()&0o077, name)
	}
	// Two runs and a remake: the same files, to the byte.
	require.Equal(t, tree(in("one")), tree(in("two")))
	require.Equal(t, tree(in("one")), tree(in("again")))
	require.Contains(t, string(files["one/report.html"]), "in the folder twice", "the caution about a file is there, without its name")
	require.NotContains(t, string(files["one/report.html"]), "Synthetic volume")
	objects(t, in("one/dicom"))
}

// With the flag the patient is in the DICOM objects and in identity.json, and nowhere else.
func TestIdentityGoesWhereItIsAskedFor(t *testing.T) {
	t.Setenv("SOURCE_DATE_EPOCH", "1700000000")
	scan, plan := patient(t)
	out := filepath.Join(t.TempDir(), "out")
	args := append([]string{"measure", scan, "--plan", plan, "-o", out, "--with-identity"}, everything...)
	status, said := spoken(t, args...)
	require.Equal(t, exitDone, status, said)
	require.Empty(t, found([]byte(said)), said)
	for name, data := range tree(out) {
		switch {
		case name == "identity.json", strings.HasPrefix(name, "dicom/"):
			require.Subset(t, found(data), []string{"quillfeather", "久井流", "qx-778812", "19340102", "1.2.840.99999.7781"}, name)
			require.NotContains(t, string(data), "QUILLPRIVATE", name)
		default:
			require.Empty(t, found(data), name)
		}
	}
	again := filepath.Join(filepath.Dir(out), "again")
	status, said = spoken(t, append([]string{"report", filepath.Join(out, "result.json"), "-o", again, "--with-identity"}, everything...)...)
	require.Equal(t, exitDone, status, said)
	require.Equal(t, tree(out), tree(again))
	identity := filepath.Join(again, "identity.json")
	data, err := os.ReadFile(identity)
	require.NoError(t, err)
	other := regexp.MustCompile(`("series_hash": ")[0-9a-f]`).ReplaceAllString(string(data), "${1}x")
	require.NotEqual(t, string(data), other)
	require.NoError(t, os.WriteFile(identity, []byte(other), 0o600))
	status, said = spoken(t, "report", filepath.Join(again, "result.json"), "-o", filepath.Join(filepath.Dir(out), "third"), "--with-identity", "--dicom")
	require.Equal(t, exitUsage, status, "a patient of another series is none of this result's")
	require.Contains(t, said, "is of another series than the result")
	status, said = spoken(t, "inspect", scan, "--show-identity")
	require.Equal(t, exitDone, status, said)
	require.NotEmpty(t, found([]byte(said)))
	objects(t, filepath.Join(out, "dicom"))
}

// objects holds every DICOM object of a folder against outside readers.
func objects(t *testing.T, dir string) {
	t.Helper()
	var paths []string
	for name := range tree(dir) {
		paths = append(paths, filepath.Join(dir, name))
	}
	sort.Strings(paths)
	require.NotEmpty(t, paths)
	t.Run("dciodvfy", func(t *testing.T) {
		for _, path := range paths {
			text, _ := outside(t, "dciodvfy", path)
			require.NotContains(t, text, "Error", path)
			require.Regexp(t, "Comprehensive3DSR|SCImage", text)
		}
	})
	t.Run("dsrdump", func(t *testing.T) {
		text, err := outside(t, "dsrdump", filepath.Join(dir, "measurements.dcm"))
		require.NoError(t, err, text)
		require.Contains(t, text, "Imaging Measurement Report")
	})
	t.Run("pydicom", func(t *testing.T) {
		const python = "/usr/bin/python3"
		if exec.Command(python, "-c", "import pydicom").Run() != nil {
			t.Skip("python3-pydicom is not installed")
		}
		text, err := outside(t, python, append([]string{"-c", `
import sys, pydicom
sets = [pydicom.dcmread(p) for p in sys.argv[1:]]
print(len({d.StudyInstanceUID for d in sets}), len({d.SOPInstanceUID for d in sets}), len({str(d.PatientID) for d in sets}))
for d in sets:
    if "PixelData" in d: d.Rows * d.Columns <= len(d.PixelData) or sys.exit("pixels are missing")
`}, paths...)...)
		require.NoError(t, err, text)
		require.Equal(t, []string{"1", strconv.Itoa(len(paths)), "1"}, strings.Fields(text), "one study, one patient, each object its own")
	})
}

// outside runs another program, or skips visibly when it is not there.
func outside(t *testing.T, name string, args ...string) (string, error) {
	t.Helper()
	text, err := exec.Command(name, args...).CombinedOutput()
	if errors.Is(err, exec.ErrNotFound) || errors.Is(err, os.ErrNotExist) {
		t.Skipf("%s is not installed", name)
	}
	return string(text), err
}
