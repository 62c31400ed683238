package study

import (
	"fmt"
	"io"
	"strings"
)

// Slurm is an array job that measures a study; Manifest, Folder and Tasks must be set.
type Slurm struct {
	Program  string // the command; "" means ridgerule
	Manifest string
	Folder   string
	Tasks    int    // parts of the study, one an array task
	AtOnce   int    // tasks at a time; 0: as many as the cluster gives
	CPUs     int    // a task; 0 means 2
	Memory   int64  // bytes a task; 0 means 4 GiB
	Time     string // limit of a task as Slurm writes it; "" means 04:00:00
}

// Write writes the batch script. The parts are numbered in the script, not by the array, so that a
// few of them may be submitted again alone: sbatch --array=3,7 script.
func (s Slurm) Write(w io.Writer) error {
	at := ""
	if s.AtOnce > 0 {
		at = fmt.Sprintf("%%%d", s.AtOnce)
	}
	program, limit := s.Program, s.Time
	if program == "" {
		program = "ridgerule"
	}
	if limit == "" {
		limit = "04:00:00"
	}
	cpus, memory := max(s.CPUs, 0), s.Memory
	if cpus == 0 {
		cpus = 2
	}
	if memory == 0 {
		memory = 4 << 30
	}
	_, err := fmt.Fprintf(w, `#!/bin/sh
#SBATCH --job-name=study
#SBATCH --array=0-%d%s
#SBATCH --cpus-per-task=%d
#SBATCH --mem=%dM
#SBATCH --time=%s
#SBATCH --requeue
#SBATCH --open-mode=append
#SBATCH --output=%%x-%%A-%%a.log

# Measures part SLURM_ARRAY_TASK_ID of %d. A task that is killed, requeued or submitted again does
# only what is missing. When all have ended:
#   %s study merge %s
exec %s study run %s \
  -o %s --shard "$SLURM_ARRAY_TASK_ID/%d" \
  --jobs %d --memory %dM --no-progress
`, s.Tasks-1, at, cpus, memory>>20, limit, s.Tasks, shell(program), shell(s.Folder),
		shell(program), shell(s.Manifest), shell(s.Folder), s.Tasks, cpus, memory*9/10>>20)
	return err
}

// shell quotes a word for the shell.
func shell(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }
