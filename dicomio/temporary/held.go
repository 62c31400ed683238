package temporary

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

// Held is a file that one process writes and others read, held by this process. The lock is the kernel's, on a file beside
// it, and ends with its process; what stands in that file says to the next who holds it.
type Held struct{ lock *os.File }

// holder is who holds a file.
type holder struct {
	Process int       `json:"process"`
	Host    string    `json:"host"`
	Since   time.Time `json:"since"`
}

func (h holder) String() string {
	return fmt.Sprintf("process %d on %s since %s", h.Process, h.Host, h.Since.Format("15:04:05"))
}

// lockOf names the file whose lock stands for path's.
func lockOf(path string) string {
	return filepath.Join(filepath.Dir(path), "."+filepath.Base(path)+".lock")
}

// Hold takes the file path for this process, whether it is there yet or not; now is told to whoever comes next. by says who
// holds it where somebody does, and h is nil then.
func Hold(path string, now time.Time) (h *Held, by string, err error) {
	file, err := os.OpenFile(lockOf(path), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, "", err
	}
	if held, sure := Lock(file); !held && sure {
		defer file.Close()
		var who holder
		if json.NewDecoder(io.LimitReader(file, 1<<10)).Decode(&who) != nil {
			return nil, "another process", nil
		}
		return nil, who.String(), nil
	}
	if !standsAt(file, lockOf(path)) { // who held it removed it since
		_ = file.Close()
		return Hold(path, now)
	}
	host, _ := os.Hostname()
	line, err := json.Marshal(holder{os.Getpid(), host, now})
	if err == nil {
		err = errors.Join(file.Truncate(0), writeAt(file, append(line, '\n')))
	}
	if err != nil {
		return nil, "", errors.Join(err, file.Close())
	}
	return &Held{file}, "", nil
}

// standsAt reports whether an open file is still the one under its name.
func standsAt(f *os.File, path string) bool {
	mine, err := f.Stat()
	there, err2 := os.Stat(path)
	return err == nil && err2 == nil && os.SameFile(mine, there)
}

func writeAt(f *os.File, data []byte) error {
	_, err := f.WriteAt(data, 0)
	return err
}

// Release gives the file up. The lock's own file goes first: who opens it from then on makes another. Nil holds nothing.
func (h *Held) Release() error {
	if h == nil {
		return nil
	}
	return errors.Join(os.Remove(h.lock.Name()), h.lock.Close())
}
