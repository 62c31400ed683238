// Command compare writes a synthetic series, or reads one and prints how long that took; see compare.sh.
//
//	compare write DIR COLUMNS ROWS SLICES
//	compare series DIR      this project's reader, scan included
//	compare bare DIR        every file into one fresh slab, one goroutine
package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) == 5 && args[0] == "write" {
		return write(args[1], args[2:])
	}
	if len(args) != 2 {
		return fmt.Errorf("usage: compare write|series|bare DIR")
	}
	debug.SetGCPercent(-1) // one read a process: nothing to collect
	start := time.Now()
	read := series
	if args[0] == "bare" {
		read = bare
	}
	sum, err := read(args[1])
	fmt.Printf("%.1f ms  check %d\n", float64(time.Since(start).Microseconds())/1000, sum)
	return err
}

func write(dir string, sizes []string) error {
	var n [3]int
	for i, text := range sizes {
		n[i], _ = strconv.Atoi(text)
	}
	v, err := volume.New(volume.Grid{Size: n, Step: [3]r3.Vec{{X: 0.2}, {Y: 0.2}, {Z: 0.2}}})
	if err != nil {
		return err
	}
	for i := range v.Stored {
		v.Stored[i] = int16(uint32(i) * 2654435761 >> 20)
	}
	return dicomio.WriteCT(dir, v, dicomio.WriteOptions{})
}

func series(dir string) (int, error) {
	door, err := dicomio.Open(dir, dicomio.Limits{})
	if err != nil {
		return 0, err
	}
	defer door.Close()
	cat, err := dicomio.Scan(context.Background(), door, dicomio.Limits{})
	if err != nil {
		return 0, err
	}
	s, err := cat.Pick("")
	if err != nil {
		return 0, err
	}
	v, err := s.Read(context.Background(), nil)
	if err != nil {
		return 0, err
	}
	return int(v.Stored[len(v.Stored)/2]), nil
}

func bare(dir string) (int, error) {
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		return 0, err
	}
	total := int64(0)
	for _, f := range files {
		info, err := os.Stat(f)
		if err != nil {
			return 0, err
		}
		total += info.Size()
	}
	slab, at := make([]byte, total), 0
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			return 0, err
		}
		n, err := f.Read(slab[at:])
		f.Close()
		if err != nil {
			return 0, err
		}
		at += n
	}
	return int(slab[at/2]), nil
}
