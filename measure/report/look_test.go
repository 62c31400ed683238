package report

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// lookAt writes a file for the eye when RIDGERULE_LOOK names a folder.
func lookAt(t *testing.T, name string, data []byte) {
	t.Helper()
	if dir := os.Getenv("RIDGERULE_LOOK"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o600))
	}
}
