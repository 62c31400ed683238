package dicomio

// Limits bounds what one [Open] or [Scan] may take; the zero value means the defaults. A file that passes a limit is
// refused with an error that names the limit, before the memory is taken.
type Limits struct {
	Files    int   // files looked at; 0 means 100,000
	Volume   int64 // bytes of one volume as read; 0 means 16 GiB
	Inflated int64 // bytes that compressed data may grow to beyond 200 times its size; 0 means 128 MiB
	Workers  int   // goroutines; 0 means GOMAXPROCS
}

// Growth is how many times larger than its compressed form data may become, beyond [Limits.Inflated].
//
// A noisy scan compresses 2 to 4 times and a noiseless synthetic one about 100 times; a bomb 1000 times and more.
const growth = 200

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
