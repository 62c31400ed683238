package dicomio

import (
	"errors"
	"io/fs"
	"testing"

	"github.com/stretchr/testify/require"
)

// An archive's error wraps the error of its file; neither path is said, for both may name a patient.
func TestReasonNamesNoPath(t *testing.T) {
	inner := &fs.PathError{Op: "readat", Path: "/home/q/Quillfeather.zip", Err: errors.New("negative offset")}
	outer := &fs.PathError{Op: "open", Path: "Quillfeather/IM0001.dcm", Err: inner}
	require.Equal(t, "negative offset", reason(outer))
	require.Equal(t, "negative offset", reason(inner))
}
