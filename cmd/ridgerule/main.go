// Command ridgerule measures jaw bone in cone-beam CT: from a DICOM series and a site plan to
// tables, pictures and a report.
//
// A verb a file, each thin: it reads flags, calls the rooms and writes what they return. Data goes
// to stdout, all else to stderr; exit statuses are in exit.go.
package main

import (
	"os"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }
