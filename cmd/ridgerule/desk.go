package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/desk"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
	"ridgerule/measure/report"
)

// What a desk's plan is called when nobody says: beside whoever calls, one for scans and one for the synthetic jaw.
const (
	deskPlan    = "plan.yaml"
	learnerPlan = "synthetic-plan.yaml"
)

type deskFlags struct {
	caseFlags
	port                           int
	noOpen, readOnly, showIdentity bool
	practice, read                 string
	test                           bool
}

func (a *app) desk() *cobra.Command {
	var k deskFlags
	c := &cobra.Command{
		Use:   "desk [PATH]",
		Short: "Open a page on this machine to make and review a plan by eye",
		Long: `Open a page on this machine on which a plan is made and reviewed by looking and clicking: which way
round, occlusal plane, arch, what to keep clear of, sites, implants, review. Without PATH it opens a
synthetic jaw to learn on.

Its address goes to stdout and opens the page once; nothing leaves this machine. Every act is saved
in the plan PLAN at once (` + deskPlan + ` when not given, ` + learnerPlan + ` without PATH), can be undone, and survives
the end of the program. With -o the page can write into DIR what ridgerule measure writes; without,
nothing but the plan is written. Ctrl-C ends it.

With --practice DIR it shows the sections of a set that ridgerule practice make left, one after the
other, to be measured by eye; answers go into DIR/readings.csv. Where DIR has its key the truth of each
is shown once it is answered, with --test after the last. With --read DIR it shows the sections of a
sitting that ridgerule read made, in the reader's own order and without anybody's number; answers go into
DIR/answers.csv, with the time of each, and DIR/readings.csv is left when all are given. Both go on where
they were broken off.

` + pathHelp,
		Args: cobra.MaximumNArgs(1),
	}
	k.add(c.Flags())
	c.Flags().IntVar(&k.port, "port", 0, "listen on `PORT`; 0: any that is free")
	c.Flags().BoolVar(&k.noOpen, "no-open", false, "do not open the browser")
	c.Flags().BoolVar(&k.readOnly, "read-only", false, "look only: the plan must exist and is not changed")
	c.Flags().BoolVar(&k.showIdentity, "show-identity", false, "show the patient's name and number on the page")
	c.Flags().StringVar(&k.practice, "practice", "", "measure the sections of the set `DIR`, which practice make left, by eye")
	c.Flags().StringVar(&k.read, "read", "", "read the sections of the sitting `DIR`, which ridgerule read made, by eye")
	c.Flags().BoolVar(&k.test, "test", false, "with --practice: tell nothing of the truth before the last answer")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := k.fit(args); err != nil {
			return err
		}
		switch {
		case k.practice != "":
			return a.openPractice(c.Context(), k)
		case k.read != "":
			return a.openReading(c.Context(), k)
		}
		return a.openDesk(c.Context(), k, args)
	}
	return c
}

// fit says which flags do not go together.
func (k deskFlags) fit(args []string) error {
	switch {
	case k.port < 0 || k.port > 65535:
		return usagef("--port %d is no port; give one from 0 to 65535", k.port)
	case k.practice != "" && k.read != "":
		return usagef("--practice DIR opens a set and --read DIR a sitting of a study; give one of them")
	case (k.practice != "" || k.read != "") && (len(args) > 0 || k.plan != "" || k.dir != "" || k.readOnly):
		return usagef("--practice DIR opens a set, --read DIR a sitting, and nothing else: leave out PATH, --plan, -o and --read-only")
	case k.test && k.practice == "":
		return usagef("--test goes with --practice DIR")
	}
	return nil
}

// openDesk reads or makes the scan, opens the page and serves it until it is interrupted.
func (a *app) openDesk(ctx context.Context, k deskFlags, args []string) error {
	path := ""
	if len(args) > 0 {
		path = args[0]
	}
	if k.plan == "" {
		k.plan = map[bool]string{false: deskPlan, true: learnerPlan}[path == ""]
	}
	scan, source, err := a.deskScan(ctx, k, path)
	if err != nil {
		return err
	}
	o := desk.Options{Port: k.port, ReadOnly: k.readOnly, Now: a.now}
	if k.dir != "" {
		f, err := newFolder(k.dir, k.replace, path, k.plan)
		if err != nil { // said before anybody begins to work
			return err
		}
		f.abandon()
		o.Write = a.deskOutputs(k, path, scan.Volume, source)
	}
	d, err := desk.Open(scan, k.plan, o)
	if err != nil {
		return err
	}
	if why := d.ReadOnly(); why != "" {
		a.say("the plan is %s: nothing is changed", why)
	}
	return a.serveDesk(ctx, d, k)
}

// serveDesk says where a desk is, opens the browser, and serves until it is interrupted.
func (a *app) serveDesk(ctx context.Context, d *desk.Desk, k deskFlags) error {
	address := d.Address()
	fmt.Fprintf(a.stdout, "desk: %s\n", address)
	if !k.noOpen {
		if err := browse(address); err != nil {
			a.say("no browser opened (%v): open the address by hand", err)
		}
	}
	return d.Serve(ctx)
}

// deskScan reads the series at path, or makes the jaw to learn on where there is none.
func (a *app) deskScan(ctx context.Context, k deskFlags, path string) (desk.Scan, dicomio.Source, error) {
	if path == "" {
		v, err := a.learnerJaw(ctx)
		return desk.Scan{Volume: v, Synthetic: true, Facts: measure.Scan{Encoding: "none", Orientation: "as drawn", Verdict: "fit"}}, dicomio.Source{}, err
	}
	s, err := a.open(ctx, path, k.series)
	if err != nil {
		return desk.Scan{}, dicomio.Source{}, err
	}
	defer s.input.Close()
	v, err := a.volume(ctx, s)
	if err != nil {
		return desk.Scan{}, dicomio.Source{}, err
	}
	scan := desk.Scan{Volume: v, Facts: scanOf(s.Series, v), Synthetic: s.Synthetic}
	if k.showIdentity {
		scan.Identity = []string{s.Identity.PatientName, s.Identity.PatientID, s.Identity.PatientBirthDate}
	}
	return scan, s.Source().Deidentified(), nil
}

// learnerJaw makes the lower jaw of the demo, coarser: it is there in a moment.
func (a *app) learnerJaw(ctx context.Context) (*volume.Volume, error) {
	o := phantom.Demo(phantom.Mandible)
	o.Scan.Voxel, o.Scan.Blur = [3]float64{0.3, 0.3, 0.3}, 0.25
	jaw, err := phantom.New(o)
	if err != nil {
		return nil, err
	}
	step, end := a.progress("making the jaw")
	defer end()
	return jaw.Volume(ctx, func(done float64) { step(int(1000*done), 1000) })
}

// deskOutputs writes what the measure verb writes, whole or not at all. A plan that is written again has the date of the
// first time: a review of it changes no byte of its result.
func (a *app) deskOutputs(k deskFlags, path string, v *volume.Volume, source dicomio.Source) func(context.Context, *plan.Placed, *measure.Result) (string, error) {
	replace, of, date := k.replace, "", time.Time{}
	return func(_ context.Context, p *plan.Placed, r *measure.Result) (string, error) {
		f, err := newFolder(k.dir, replace, path, k.plan)
		if err != nil {
			return "", err
		}
		defer f.abandon()
		if of != p.SHA256 {
			if date, err = report.Date(a.getenv, a.now); err != nil {
				return "", err
			}
			of = p.SHA256
		}
		c := report.Case{Result: r, Provenance: report.Provenance{Tool: "ridgerule " + version, Date: date, Source: source}}
		addPictures(&c, v, p.Curve)
		content := ""
		err = report.Write(c, report.Extra{}, func(name string) (io.WriteCloser, error) {
			w, err := f.create(name)
			if name == "result.json" && err == nil {
				w = &hashedFile{WriteCloser: w, content: &content}
			}
			return w, err
		})
		if err := errors.Join(err, a.settle(f, k.dir)); err != nil {
			return "", err
		}
		replace = true // what stands there now is ours
		return content, nil
	}
}

// hashedFile is a result on its way to its file: it takes the content_sha256 out of it.
type hashedFile struct {
	io.WriteCloser
	content *string
}

func (h *hashedFile) Write(data []byte) (int, error) {
	*h.content = report.ContentOf(data)
	return h.WriteCloser.Write(data)
}

// browse opens an address in the machine's browser.
func browse(address string) error {
	open := map[string][]string{"darwin": {"open"}, "windows": {"rundll32", "url.dll,FileProtocolHandler"}}[runtime.GOOS]
	if open == nil {
		open = []string{"xdg-open"}
	}
	return exec.Command(open[0], append(open[1:], address)...).Start()
}
