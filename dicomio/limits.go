package dicomio

// Limits bounds what one [Open] or [Scan] may take; the zero value means the defaults. A file that passes a limit is
// refused with an error that names the limit, before the memory is taken.
type Limits struct {
	Files    int   // files looked at; 0 means 100,000
	Volume   int64 // bytes of one volume as read; 0 means 16 GiB
	Inflated int64 // bytes that compressed data may grow to beyond 50 times its size (a zip: twice both); 0 means 128 MiB
	Workers  int   // goroutines; 0 means GOMAXPROCS
}

// growth is how many times larger than its compressed form data may become, beyond [Limits.Inflated].
//
// A noisy scan compresses 2 to 4 times. A noiseless synthetic one may compress 100 times, which the allowance covers up
// to some 300 slices of 512 × 512; a bomb compresses 1000 times and more.
const growth = 50

// archive returns what an archive of size bytes may claim to unpack to, in bytes: more than one file may, because an
// archive is read as a stream and never held.
func (l Limits) archive(size int64) uint64 { return uint64(2*l.Inflated) + 2*growth*uint64(size) }

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
