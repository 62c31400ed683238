package study

import (
	"errors"
	"io/fs"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// A failure's reason goes into failures.csv, and says no path, however deep one lies in the error.
func TestFailureNamesNoPath(t *testing.T) {
	inner := &fs.PathError{Op: "readat", Path: "/home/q/Quillfeather.zip", Err: errors.New("negative offset")}
	for _, err := range []error{
		inner,
		&fs.PathError{Op: "open", Path: "Quillfeather/IM0001.dcm", Err: inner},
		&os.LinkError{Op: "rename", Old: "Quillfeather", New: "b", Err: inner},
	} {
		require.Equal(t, "readat: negative offset", FailureOf(err, StageSeries).Reason)
	}
}
