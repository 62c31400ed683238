package main

import (
	"path/filepath"
	"regexp"

	"github.com/spf13/cobra"

	"ridgerule/measure/study"
)

func (a *app) studyScript() *cobra.Command {
	s := study.Slurm{}
	var slurm bool
	var memory string
	c := &cobra.Command{
		Use:   "script MANIFEST -o DIR --slurm",
		Short: "Print the job script that measures a study on a cluster",
		Long: `Print a batch script for Slurm on stdout: an array job whose tasks measure the parts of a study. It is
yours to read and change. For Kubernetes see docs/studies.md.`,
		Example: `  ridgerule study script manifest.csv -o study --slurm --tasks 50 > study.sh
  sbatch study.sh`,
		Args: oneArg("MANIFEST"),
	}
	fl := c.Flags()
	fl.StringVarP(&s.Folder, "output", "o", "", "the study's folder `DIR`, on a file system that all nodes share")
	fl.BoolVar(&slurm, "slurm", false, "for Slurm")
	fl.IntVar(&s.Tasks, "tasks", 0, "array tasks `N`; 0: one for every 10 cases, at most 1000")
	fl.IntVar(&s.AtOnce, "at-once", 0, "tasks at a time; 0: as many as the cluster gives")
	fl.IntVar(&s.CPUs, "cpus", 2, "processors of a task, and cases at once in it")
	fl.StringVar(&memory, "memory", "4G", "memory of a task")
	fl.StringVar(&s.Time, "time", "04:00:00", "time limit of a task, as Slurm writes it")
	fl.StringVar(&s.Program, "program", "ridgerule", "how the nodes call this program")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := a.checkScript(&s, slurm, memory, args[0]); err != nil {
			return err
		}
		return s.Write(a.stdout)
	}
	return c
}

var slurmTime = regexp.MustCompile(`^[0-9]+(-[0-9]+)?(:[0-9]+){0,2}$`)

func (a *app) checkScript(s *study.Slurm, slurm bool, memory, path string) error {
	m, err := a.openManifest(path)
	if err != nil {
		return err
	}
	if s.Memory, err = study.ParseMemory(memory); err != nil {
		return usagef("--memory %w", err)
	}
	switch {
	case !slurm:
		return usagef("for which scheduler? say --slurm")
	case s.Folder == "":
		return usagef("no study folder; name one with -o DIR")
	case s.Tasks < 0 || s.AtOnce < 0 || s.CPUs < 1:
		return usagef("--tasks and --at-once count from 0, --cpus from 1")
	case s.Memory < 256<<20:
		return usagef("--memory %s is less than one small case takes; give 256M or more", memory)
	case !slurmTime.MatchString(s.Time):
		return usagef("--time %q is no time limit; write it as 04:00:00 or 1-00:00:00", s.Time)
	}
	if s.Tasks == 0 {
		s.Tasks = min(1000, (len(m.Entries)+9)/10)
	}
	if s.Manifest, err = filepath.Abs(path); err != nil {
		return err
	}
	s.Folder, err = filepath.Abs(s.Folder)
	return err
}
