// Package dicomio turns what a scanner exported into a volume that may be measured, or says in one sentence why it
// cannot be, and writes synthetic volumes as a DICOM series.
//
// The way through, step by step:
//
//	Open   a folder, .zip, DICOMDIR or file        → Input       input.go
//	Scan   every header, no pixel                   → Catalogue  scan.go, group.go, judge.go
//	Pick   one of the series found                  → Series     catalogue.go
//	Read   its pixels into one volume               → Volume     read.go
//	WriteCT, the other way                          → files      write.go
//
// Nothing reaches the parser unseen: package internal/walk checks every length against the real size of the file first,
// and hands the parser only the attributes that are used here.
//
// Frames:
//
//	volume.Index  (i, j, k)  column, row, slice; integers on voxel centres; voxels
//	r3.Vec        (x, y, z)  patient, LPS: +x Left, +y Posterior, +z Superior; mm
//
// ImagePositionPatient is the centre of the first voxel, not its corner. Slices are ordered by position along the
// normal (row direction × column direction), never by instance number, and the volume is right-handed.
//
// What comes from a patient (name, birth date, identifiers, descriptions) is kept in [Identity] and is in no error, no
// caution and no other field.
package dicomio
