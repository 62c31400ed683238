package main

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/require"
	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"ridgerule/dicomio"
)

func crlf(ts *testscript.TestScript, _ bool, args []string) {
	text := strings.ReplaceAll(ts.ReadFile(args[0]), "\n", "\r\n")
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(text), 0o600))
}

func samePatient(ts *testscript.TestScript, differ bool, args []string) {
	ids := map[string]bool{}
	for _, dir := range args {
		inDir := map[string]bool{}
		ts.Check(filepath.WalkDir(ts.MkAbs(dir), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			set, err := dicom.ParseFile(path, nil)
			if err != nil {
				return err
			}
			e, err := set.FindElementByTag(tag.PatientID)
			if err == nil {
				inDir[e.Value.String()], ids[e.Value.String()] = true, true
			}
			return err
		}))
		if len(inDir) != 1 {
			ts.Fatalf("%s has the patients %v", dir, inDir)
		}
	}
	if len(ids) == 1 == differ {
		ts.Fatalf("patients %v", ids)
	}
}

// A key of random bytes is taken as it is, whatever it ends with; a line of text without its end.
func TestKeyIsEveryByteOfItsFile(t *testing.T) {
	random := []byte("\x00\xff\x80random bytes that end in a line end\r\n")
	for _, c := range []struct{ data, want []byte }{
		{random, random},
		{[]byte(strings.Repeat("quill inks ", 4) + "\r\n"), []byte(strings.Repeat("quill inks ", 4))},
		{[]byte(" two lines of text, the first of\nwhich does not end the key\n"), []byte(" two lines of text, the first of\nwhich does not end the key\n")},
	} {
		got, err := keyOf(c.data)
		require.NoError(t, err)
		require.Equal(t, c.want, got)
	}
	for _, bad := range []string{"", "short", strings.Repeat("\n", 40), strings.Repeat("ab", 40), strings.Repeat("\x00", 32), strings.Repeat("quill inks ", 500)} {
		_, err := keyOf([]byte(bad))
		require.ErrorContains(t, err, keyRemedy)
	}
}

// A patient whom the series does not name has no pseudonym: all such would be one.
func TestNobodyHasNoPseudonym(t *testing.T) {
	k := pseudonymKey{key: []byte(strings.Repeat("quill inks ", 4))}
	_, err := k.pseudonym(dicomio.Identity{PatientBirthDate: "19340102"})
	require.ErrorContains(t, err, "names no patient")
	require.Equal(t, exitUsage, statusOf(err))
	name, err := (&pseudonymKey{}).pseudonym(dicomio.Identity{})
	require.NoError(t, err)
	require.Empty(t, name, "no key, no pseudonym: never from identity alone")
}

// FuzzKey reads hostile key files through the flag, beside other hostile flags. A key is taken whole or refused with
// the remedy; no error tells what is in the file; the same file gives the same pseudonym.
func FuzzKey(f *testing.F) {
	f.Add([]byte(strings.Repeat("quill inks ", 4)+"\n"), "--dicom", "QX-7")
	f.Add([]byte("\xff\xfe"), "--pdf=a3", "")
	f.Add(bytes.Repeat([]byte{0}, 5000), "--with-identity", "^^")
	path := filepath.Join(f.TempDir(), "key")
	f.Fuzz(func(t *testing.T, data []byte, other, patient string) {
		require.NoError(t, os.WriteFile(path, data, 0o600))
		var names []string
		for range 2 {
			var k extraFlags
			flags := pflag.NewFlagSet("", pflag.ContinueOnError)
			flags.SetOutput(&bytes.Buffer{})
			k.add(flags)
			key, err := keyOf(data)
			if set := k.key.Set(path); err != nil {
				require.EqualError(t, set, err.Error())
				require.NotContains(t, err.Error(), "quill")
				return
			}
			require.True(t, len(key) >= leastKey && bytes.HasPrefix(data, key) && bytes.Equal(key, k.key.key))
			if flags.Parse([]string{other}) == nil && k.identity {
				require.Error(t, k.check(), "who is named has no pseudonym, and nobody is named without --dicom")
			}
			name, err := k.key.pseudonym(dicomio.Identity{PatientID: patient, PatientName: patient})
			require.Equal(t, err == nil, len(name) == 32)
			names = append(names, name)
		}
		require.Equal(t, names[0], names[1])
	})
}
