package main

import (
	"bytes"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ridgerule/measure/practice"
)

func (a *app) readGather() *cobra.Command {
	var out outFlags
	var reference string
	c := &cobra.Command{
		Use:   "gather SITTING... -o DIR",
		Short: "Put the sittings of all readers into one table",
		Long: `Put the answers of sittings of read into one tidy table, readings.csv in the folder DIR, for agree. With
--reference TABLE, a table with the columns case,site,quantity,at_mm,value such as measurements.csv of study merge, each row
has what the table says of its number in the column reference.`,
		Example: `  ridgerule read gather sittings/* --reference study/measurements.csv -o gathered
  ridgerule agree gathered/readings.csv --subject case,site --rater reader --replicate replicate --value value \
    --where quantity=ridge_height --reference reference -o agreement`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return fmt.Errorf("gather needs SITTING, the folder of read; see ridgerule read gather --help")
			}
			return nil
		},
	}
	out.add(c.Flags())
	c.Flags().StringVar(&reference, "reference", "", "the `TABLE` whose value of each number becomes its reference")
	c.RunE = func(_ *cobra.Command, args []string) error { return a.gather(args, reference, out) }
	return c
}

func (a *app) gather(dirs []string, table string, out outFlags) error {
	f, err := newFolder(out.dir, out.replace, dirs...)
	if err != nil {
		return err
	}
	defer f.abandon()
	var all []*practice.Session
	answered, asked := 0, 0
	for _, dir := range dirs {
		s, err := openSession(dir)
		if err != nil {
			return err
		}
		all = append(all, s)
		answered, asked = answered+len(s.Answers), asked+len(s.Items)
	}
	var against practice.Reference
	if table != "" {
		data, err := readFile(table)
		if err != nil {
			return err
		}
		if against, err = practice.ReadReference(bytes.NewReader(data)); err != nil {
			return fmt.Errorf("%s: %w", table, err)
		}
	}
	held := 0
	if err := f.write("readings.csv", func(w io.Writer) (err error) { held, err = practice.Gather(w, all, against); return err }); err != nil {
		return err
	}
	if err := a.settle(f, out.dir); err != nil {
		return err
	}
	a.say("%d sittings, %d of %d items answered", len(all), answered, asked)
	if against != nil {
		a.say("%d rows have a reference", held)
	}
	return a.list(out.dir, []string{"readings.csv"})
}
