package dicomio

// Limits bounds what one [Open] or [Scan] may take; the zero value means the defaults. A file that passes a limit is
// refused with an error that names the limit, before the memory is taken.
type Limits struct {
	Files   int   // max-files: files looked at; 0 means 100,000
	Volume  int64 // max-volume: bytes of one volume as read; 0 means 16 GiB
	Workers int   // goroutines; 0 means GOMAXPROCS

	// Inflated, max-inflated, is what one compressed file may grow to beyond 50 times its size, in bytes; 0 means 128 MiB. An archive,
	// and the compressed files of a series together, may grow to half as much again beyond 100 times their size.
	Inflated int64
}

// growth is how many times larger than its compressed form data may become, beyond [Limits.Inflated].
//
// A noisy scan compresses 2 to 4 times. A noiseless synthetic one may compress 100 times, which the allowance covers up
// to some 300 slices of 512 × 512; a bomb compresses 1000 times and more.
const growth = 50

// total returns what size bytes of compressed data may grow to in all, in bytes: an archive, or the files of a series.
func (l Limits) total(size int64) int64 { return l.Inflated + l.Inflated/2 + 2*growth*size }

func (l Limits) withDefaults(processors int) Limits {
	if l.Files <= 0 {
		l.Files = 100_000
	}
	if l.Volume <= 0 {
		l.Volume = 16 << 30
	}
	if l.Inflated <= 0 {
		l.Inflated = 128 << 20
	}
	if l.Workers <= 0 {
		l.Workers = processors
	}
	return l
}
