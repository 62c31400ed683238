//go:build unix && !solaris && !aix

package temporary

import (
	"errors"
	"os"
	"syscall"
)

// lock takes an open folder or file for this process and those that inherit the file. sure is false where
// the file system knows no locks, and held then means nothing.
func lock(f *os.File) (held, sure bool) {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return false, true
	}
	return true, err == nil
}
