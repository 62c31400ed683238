package main

import (
	"bytes"
	"context"

	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/propose"
)

// proposeFlags say what is known already and where the plan goes.
type proposeFlags struct {
	jaw, file, series, align string
	teeth                    []string
	spacing                  float64
	replace                  bool
}

func (a *app) propose() *cobra.Command {
	var k proposeFlags
	c := &cobra.Command{
		Use:   "propose PATH [-o PLAN]",
		Short: "Propose a plan: jaw, occlusal direction, arch, sites, floors of sinus and nose",
		Long: `Propose a site plan from the scan alone: which jaw it shows, the occlusal direction, the arch curve through the
ridge, candidate sites along it, and in an upper jaw the floors of the sinuses and of the nose. Everything is
marked 'proposed' in the plan: no verdict that rests on it is more than uncertain until a person has checked it
and removed the mark. No canal is proposed.

Up, down, left and right come from the scan's header. Where the image cannot tell which jaw it shows, or both are
in the field, nothing is written and the exit status is 2: say which with --jaw. Where it shows no arch that may be
proposed, nothing is written, the exit status is 3, and stderr says why. Where the field shows one side only, sites
have no tooth numbers: add them before measuring.

With --teeth the sites are those of the planned teeth: one under each tooth of the set-up, but where a tooth stands in the scan. A surface with a
tooth's number before it (36=crown.stl) is that tooth; of one without, each connected piece is a tooth, numbered by its place.

` + pathHelp,
		Example: `  ridgerule propose scan -o plan.yaml
  ridgerule propose scan --jaw mandible --spacing-mm 10 -o plan.yaml
  ridgerule propose scan --teeth setup.stl --align setup.json -o plan.yaml`,
		Args: oneArg("PATH"),
	}
	fl := c.Flags()
	fl.StringVar(&k.jaw, "jaw", "", "`mandible` or maxilla; the image votes when not given")
	fl.Float64Var(&k.spacing, "spacing-mm", 0, "distance between candidate sites along the arch, `mm`, 3 to 50; 7 when not given")
	fl.StringArrayVar(&k.teeth, "teeth", nil, "planned teeth: a surface `[TOOTH=]STL` of a set-up; several may be given; with --align")
	fl.StringVar(&k.align, "align", "", "the alignment `ALIGN` of that set-up with the scan (JSON)")
	fl.StringVarP(&k.file, "output", "o", "", "write the plan into `PLAN`, not to stdout; it must not exist")
	fl.BoolVar(&k.replace, "replace", false, "let -o replace a file")
	fl.StringVar(&k.series, "series", "", "the series to read when there are several: its number or `UID`")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := k.check(c.Flags().Changed("spacing-mm")); err != nil {
			return err
		}
		p, plan, err := a.proposed(c.Context(), args[0], k)
		if err != nil {
			return err
		}
		return a.printProposal(p, plan, k)
	}
	return c
}

// check holds the flags against what they may be, before anything is read.
func (k proposeFlags) check(spaced bool) error {
	if k.jaw != "" && k.jaw != string(plan.Mandible) && k.jaw != string(plan.Maxilla) {
		return usagef("--jaw %q is neither mandible nor maxilla", k.jaw)
	}
	if spaced && !(k.spacing >= 3 && k.spacing <= 50) {
		return usagef("--spacing-mm %g is not from 3 to 50", k.spacing)
	}
	switch {
	case len(k.teeth) > 0 && k.align == "":
		return usagef("--teeth %s: bring it into the scan's frame first (ridgerule align SETUP.stl SCAN --start PAIRS -o setup.json), and name that with --align", k.teeth[0])
	case len(k.teeth) == 0 && k.align != "":
		return usagef("--align %s is the alignment of planned teeth: name their surface with --teeth", k.align)
	case len(k.teeth) > 0 && spaced:
		return usagef("--spacing-mm and --teeth exclude each other: with --teeth the sites are those of the planned teeth")
	}
	return freeFile(k.file, k.replace)
}

// proposed reads the series and returns the proposal and its plan.
func (a *app) proposed(ctx context.Context, path string, k proposeFlags) (*propose.Proposal, []byte, error) {
	s, err := a.open(ctx, path, k.series)
	if err != nil {
		return nil, nil, err
	}
	defer s.input.Close()
	v, err := a.volume(ctx, s)
	if err != nil {
		return nil, nil, err
	}
	head := propose.Header{Case: "proposed", Series: s.Hash(v), Frame: s.FrameHash()}
	teeth, err := a.setUp(k, &head)
	if err != nil {
		return nil, nil, err
	}
	p, err := propose.Look(ctx, v, propose.Options{Jaw: plan.Jaw(k.jaw), Spacing: k.spacing, Teeth: teeth})
	if err != nil {
		return nil, nil, err
	}
	var b bytes.Buffer
	err = p.WritePlan(&b, head)
	return p, b.Bytes(), err
}

// printProposal gives the plan to whoever asked and says on stderr what it holds and what it does not.
func (a *app) printProposal(p *propose.Proposal, plan []byte, k proposeFlags) error {
	if k.file != "" {
		if err := writeFile(k.file, plan); err != nil {
			return err
		}
	}
	switch {
	case a.json:
		if err := a.printJSON(proposalOf(p)); err != nil {
			return err
		}
	case k.file == "":
		if _, err := a.stdout.Write(plan); err != nil {
			return err
		}
	}
	a.say("proposed, to be confirmed: %s, an arch of %d points, %d sites, %d cavities", p.Jaw, len(p.Arch), len(p.Sites), len(p.Cavities))
	a.say("occlusal direction: %s", p.OcclusalWhy)
	for _, why := range p.Votes {
		a.say("%s: %s", p.Jaw, why)
	}
	for _, why := range p.None {
		a.say("not proposed: %s", why)
	}
	return nil
}

// proposalView is a proposal as --json prints it.
type proposalView struct {
	Status      string         `json:"status"`
	Jaw         plan.Jaw       `json:"jaw"`
	Voted       bool           `json:"voted"` // the image voted; false: --jaw said so
	Votes       []string       `json:"votes"`
	Occlusal    [3]float64     `json:"occlusal"`
	OcclusalWhy string         `json:"occlusal_from"`
	Arch        [][3]float64   `json:"arch_mm"`
	Midline     *[3]float64    `json:"midline_mm"`
	Sites       []proposedSite `json:"sites"`
	Cavities    []proposedPath `json:"cavities"`
	None        []string       `json:"not_proposed"`
}

type proposedSite struct {
	Tooth    string     `json:"tooth"`
	At       [3]float64 `json:"at_mm"`
	Arc      float64    `json:"from_midline_mm"`
	Standing bool       `json:"tooth_stands"`
}

type proposedPath struct {
	Name string       `json:"name"`
	Kind string       `json:"kind"`
	Path [][3]float64 `json:"path_mm"`
}

func proposalOf(p *propose.Proposal) proposalView {
	out := proposalView{Status: "proposed, to be confirmed", Jaw: p.Jaw, Voted: p.Voted, Votes: append([]string{}, p.Votes...),
		Occlusal: triple(p.Occlusal), OcclusalWhy: p.OcclusalWhy, Arch: triples(p.Arch), Sites: []proposedSite{}, Cavities: []proposedPath{}, None: append([]string{}, p.None...)}
	if p.Midline != nil {
		m := triple(*p.Midline)
		out.Midline = &m
	}
	for _, s := range p.Sites {
		out.Sites = append(out.Sites, proposedSite{s.Tooth, triple(s.At), s.Arc, s.Standing})
	}
	for _, c := range p.Cavities {
		out.Cavities = append(out.Cavities, proposedPath{c.Name, c.Kind, triples(c.Path)})
	}
	return out
}

func triple(p r3.Vec) [3]float64 { return [3]float64{p.X, p.Y, p.Z} }

func triples(all []r3.Vec) [][3]float64 {
	out := make([][3]float64, len(all))
	for i, p := range all {
		out[i] = triple(p)
	}
	return out
}
