package main

import (
	"github.com/spf13/cobra"
)

func (a *app) study() *cobra.Command {
	c := &cobra.Command{
		Use:   "study",
		Short: "Measure many cases: resumable, on one machine or a cluster",
		Long: `Measure the cases of a manifest, each into a folder of its own, and merge them into tables. What was
interrupted is taken up where it stopped; the same manifest gives the same tables whatever the number
of workers, machines and interruptions.`,
		Args: noArgs,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(a.studyCheck(), a.studyRun(), a.studyMerge(), a.studyScript(), a.studySimulate(), a.studyCase())
	return c
}
