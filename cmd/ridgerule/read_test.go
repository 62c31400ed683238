package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"slices"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"
)

// fillIn writes an answer into a form.
func fillIn(ts *testscript.TestScript, _ bool, args []string) {
	name := ts.MkAbs(args[0])
	rows, err := csv.NewReader(bytes.NewReader([]byte(ts.ReadFile(args[0])))).ReadAll()
	ts.Check(err)
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	rows[n][slices.Index(rows[0], "value")] = args[2]
	var b bytes.Buffer
	ts.Check(csv.NewWriter(&b).WriteAll(rows))
	ts.Check(os.WriteFile(name, b.Bytes(), 0o600))
}
