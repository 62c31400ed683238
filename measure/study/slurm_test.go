package study

import (
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The shell itself reads the script back: one command whose arguments are the paths as they are,
// quotes and all. (A whole array job runs in testdata/study/slurm.sh.)
func TestSlurmScriptQuotesItsPaths(t *testing.T) {
	sh, err := exec.LookPath("sh")
	if err != nil {
		t.Skip("no sh")
	}
	var b strings.Builder
	s := Slurm{Program: "printf", Manifest: "/a b/it's $HOME.csv", Folder: "/out `x`", Tasks: 50, AtOnce: 8, Memory: 4000 << 20}
	require.NoError(t, s.Write(&b))
	text := strings.Replace(b.String(), "exec 'printf' study run", `exec printf '%s\n' study run`, 1)
	c := exec.Command(sh)
	c.Env = []string{"SLURM_ARRAY_TASK_ID=7", "HOME=/nowhere"}
	c.Stdin = strings.NewReader(text)
	out, err := c.CombinedOutput()
	require.NoError(t, err, string(out))
	require.Equal(t, "study\nrun\n/a b/it's $HOME.csv\n-o\n/out `x`\n--shard\n7/50\n--jobs\n2\n--memory\n3600M\n--no-progress\n", string(out))
	require.Contains(t, b.String(), "\n#SBATCH --array=0-49%8\n")
	require.Contains(t, b.String(), "\n#SBATCH --mem=4000M\n")
}
