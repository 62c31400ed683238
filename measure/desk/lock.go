package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"ridgerule/dicomio/temporary"
)

// One desk at a time writes a plan. The lock is the kernel's, on a file beside the plan, and ends with its process; what
// stands in the file says to the next who holds it.

// holder is who holds a plan.
type holder struct {
	Process int       `json:"process"`
	Host    string    `json:"host"`
	Since   time.Time `json:"since"`
}

func (h holder) String() string {
	return fmt.Sprintf("process %d on %s since %s", h.Process, h.Host, h.Since.Format("15:04:05"))
}

func lockOf(plan string) string {
	return filepath.Join(filepath.Dir(plan), "."+filepath.Base(plan)+".lock")
}

// planLock is a plan's lock, held.
type planLock struct{ file *os.File }

// lockPlan takes the lock of a plan; by says who holds it where somebody does, and the lock is nil then.
func lockPlan(plan string, now time.Time) (l *planLock, by string, err error) {
	file, err := os.OpenFile(lockOf(plan), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, "", err
	}
	if held, sure := temporary.Lock(file); !held && sure {
		defer file.Close()
		var h holder
		if json.NewDecoder(io.LimitReader(file, 1<<10)).Decode(&h) != nil {
			return nil, "another process", nil
		}
		return nil, h.String(), nil
	}
	if !standsAt(file, lockOf(plan)) { // who held it removed it since
		_ = file.Close()
		return lockPlan(plan, now)
	}
	host, _ := os.Hostname()
	line, err := json.Marshal(holder{os.Getpid(), host, now})
	if err == nil {
		err = errors.Join(file.Truncate(0), writeAt(file, append(line, '\n')))
	}
	if err != nil {
		return nil, "", errors.Join(err, file.Close())
	}
	return &planLock{file}, "", nil
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

// release gives the lock up. Its file goes first: who opens it from then on makes another.
func (l *planLock) release() error {
	if l == nil {
		return nil
	}
	return errors.Join(os.Remove(l.file.Name()), l.file.Close())
}
