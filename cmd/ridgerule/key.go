package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"unicode"
	"unicode/utf8"

	"ridgerule/dicomio"
)

// How long a key is, in bytes. The least is the hash's own length: RFC 2104, 3.
const (
	leastKey = 32
	mostKey  = 4096 // more is another file, given by mistake
)

const keyRemedy = "make one with: head -c 32 /dev/urandom > FILE"

// pseudonymKey is the flag --pseudonym-key: the key is read when the flag is, and goes nowhere but into the HMAC.
type pseudonymKey struct {
	path  string
	key   []byte
	bared bool // others can read the file
}

// Set reads the key. The flag package names flag and file before its errors.
func (k *pseudonymKey) Set(path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return reason(err)
	}
	if !info.Mode().IsRegular() {
		return errors.New("it is no plain file")
	}
	f, err := os.Open(path)
	if err != nil {
		return reason(err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, mostKey+1))
	if err != nil {
		return reason(err)
	}
	k.path, k.bared = path, info.Mode().Perm()&0o077 != 0 && runtime.GOOS != "windows"
	k.key, err = keyOf(data)
	return err
}

func (k *pseudonymKey) String() string { return k.path }
func (k *pseudonymKey) Type() string   { return "string" }

// keyOf returns the key in a file's bytes: all of them, or, of one line of text, all but its end, which editors add.
func keyOf(data []byte) ([]byte, error) {
	key := data
	if line := bytes.TrimRight(data, "\r\n"); utf8.Valid(line) && bytes.IndexFunc(line, unicode.IsControl) < 0 {
		key = line
	}
	kinds := map[byte]bool{}
	for _, b := range key {
		kinds[b] = true
	}
	switch {
	case len(data) > mostKey:
		return nil, fmt.Errorf("it holds more than %d bytes: that is no key; %s", mostKey, keyRemedy)
	case len(key) < leastKey:
		return nil, fmt.Errorf("it holds a key of %d bytes, at least %d are needed; %s", len(key), leastKey, keyRemedy)
	case len(kinds) < 8:
		return nil, fmt.Errorf("its bytes are nearly all the same: that is no key; %s", keyRemedy)
	}
	return key, nil
}

// pseudonym returns the patient's, empty without a key.
func (k *pseudonymKey) pseudonym(id dicomio.Identity) (string, error) {
	if k.key == nil {
		return "", nil
	}
	name, err := id.Pseudonym(k.key)
	if err != nil {
		return "", usagef("%w; leave out --pseudonym-key: the case's label is the PatientID then", err)
	}
	return name, nil
}

// inputs returns the key's file as what no output may lie around.
func (k *pseudonymKey) inputs(others ...string) []string {
	if k.path != "" {
		others = append(others, k.path)
	}
	return others
}
