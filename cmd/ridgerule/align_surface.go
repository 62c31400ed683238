package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"path/filepath"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
	"ridgerule/measure/solid"
)

func isSurface(path string) bool { return strings.EqualFold(filepath.Ext(path), ".stl") }

// frameSurface is what outputs call the frame of a surface.
const frameSurface = "surface"

// alignSurface brings a surface onto a scan.
func (a *app) alignSurface(ctx context.Context, args []string, k alignFlags) (*madeAlignment, error) {
	if k.start == "" || !isTable(k.start) {
		return nil, usagef("%s is a surface: mark three or more pairs of points on it and in the scan, and name their table (name,x1,y1,z1,x2,y2,z2) with --start", args[0])
	}
	if k.mask != "" {
		return nil, usagef("--mask is for two scans; leave it out, or cut the surface")
	}
	pairs, err := readLandmarks(k.start)
	if err != nil {
		return nil, err
	}
	sheet, err := readSheet(args[0])
	if err != nil {
		return nil, err
	}
	hash, err := hashOfFile(args[0])
	if err != nil {
		return nil, err
	}
	scan, scanOf, err := a.readScan(ctx, args[1], k.otherSeries)
	if err != nil {
		return nil, err
	}
	var from, to []r3.Vec
	for _, p := range pairs {
		from, to = append(from, p.First), append(to, p.Second)
	}
	_, end := a.progress("aligning")
	fit, err := align.Surface(ctx, scan, sheet, from, to, align.SurfaceOptions{From: frameSurface, To: frameOf("second", scanOf), ScaleHalf: usualScaleHalf})
	end()
	if err != nil {
		return nil, ofFiles(err, args[0], args[1], k.start)
	}
	made := &madeAlignment{File: align.File{Kind: align.KindSurface, First: align.Subject{File: filepath.Base(args[0]), SHA256: hash}, Second: scanOf}}
	made.Transform, made.Fit, made.Cautions = fit.Transform, fit.Facts(), append([]string{}, fit.Cautions...)
	made.places, made.boards = align.SurfaceBoards(scan, sheet, fit.Transform)
	return made, nil
}

// hashOfFile returns the SHA-256 of a file's bytes, hexadecimal.
func hashOfFile(path string) (string, error) {
	r, err := os.Open(path)
	if err != nil {
		return "", usagef("%s cannot be read: %v", path, reason(err))
	}
	defer r.Close()
	h := sha256.New()
	if _, err := io.Copy(h, r); err != nil {
		return "", usagef("%s cannot be read: %v", path, reason(err))
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// usualScaleHalf is the relative half-width of the scale error of a scan that nobody calibrated, no unit. Source: method 5.
const usualScaleHalf = 0.005

// readSheet reads a surface, open or closed.
func readSheet(path string) (*solid.Sheet, error) { return readSTL(path, solid.ReadSheet) }

// readSTL reads the surface in a file; its error names the file.
func readSTL[T any](path string, read func(io.Reader, int64) (T, error)) (T, error) {
	var none T
	r, err := os.Open(path)
	if err != nil {
		return none, usagef("%s cannot be read: %v", path, reason(err))
	}
	defer r.Close()
	info, err := r.Stat()
	if err != nil {
		return none, err
	}
	s, err := read(r, info.Size())
	if err != nil {
		return none, usagef("%s: %w; export it as STL in mm", path, err)
	}
	return s, nil
}
