package safety

import (
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// lower is a site on an invented lower arch, a parabola y = x²/18 with its tip at the
// incisors (LPS: left is +x, back is +y), by how far left it lies.
func lower(tooth string, x float64) Place {
	return Place{Tooth: tooth, At: v(x, x*x/18, 0), Tangent: r3.Unit(v(1, x/9, 0)), Occlusal: v(0, 0, 1), Radius: 2}
}

// run returns a canal below the arch between two x, 15 mm deep.
func run(name string, from, to float64) Structure {
	s := Structure{Name: name, Kind: Canal, SD: 0.3}
	for k := range 9 {
		x := from + (to-from)*float64(k)/8
		s.Path, s.Radii = append(s.Path, v(x, x*x/18, -15)), append(s.Radii, 1.5)
	}
	return s
}

func point(kind Kind, name string, x float64) Structure {
	return Structure{Name: name, Kind: kind, Path: []r3.Vec{v(x, x*x/18+1, -12)}, Radii: []float64{1}}
}

func reasons(fs []Finding) string {
	var all []string
	for _, f := range fs {
		all = append(all, string(f.Kind)+": "+f.Reason)
	}
	return strings.Join(all, " | ")
}

// Left is +x; 36 stands at x = 24, 34 at 18, 33 at 14, 37 at 28, the left foramen at 20.
func TestWhatIsNotMarkedIsNotAssessed(t *testing.T) {
	left, right := run("left canal", 20, 33), run("right canal", -20, -33)
	foramen, other := point(MentalForamen, "left foramen", 20), point(MentalForamen, "right foramen", -20)
	loop := point(AnteriorLoop, "left loop", 18)
	for _, c := range []struct {
		name  string
		place Place
		marks []Structure
		want  []string // one piece of each reason, in order
	}{
		{"nothing marked", lower("36", 24), nil, []string{"canal: canal not marked on this side"}},
		{"other side only", lower("36", 24), []Structure{right}, []string{`canal: canal not marked on this side: "right canal" lies`}},
		{"mirror", lower("46", -24), []Structure{left}, []string{`canal: canal not marked on this side: "left canal" lies`}},
		{"both", lower("36", 24), []Structure{left, right}, nil},
		{"mirror, both", lower("46", -24), []Structure{left, right}, nil},
		{"traced to 36, site 37", lower("37", 28), []Structure{run("left canal", 20, 25), right}, []string{`canal "left canal" does not reach the site: it ends`}},
		{"traced from 37, site 36", lower("36", 24), []Structure{run("left canal", 27, 33)}, []string{"mark it further mesially"}},
		{"ends below the site", lower("36", 24), []Structure{run("left canal", 20, 24.5)}, []string{"within reach of the margin: mark it further distally"}},
		{"ends just past the site, no foramen", lower("35", 20.5), []Structure{left}, []string{"canal:", "anterior_loop:"}[:1]},
		{"ends just past the site at its foramen", lower("35", 20.5), []Structure{left, foramen}, []string{"loop: anterior loop not marked, and the site does not lie distal"}},
		{"and its loop", lower("35", 20.5), []Structure{left, foramen, loop}, nil},
		{"34 before the foramen", lower("34", 18), []Structure{left, foramen}, []string{"loop: anterior loop not marked"}},
		{"34, loop marked", lower("34", 18), []Structure{left, foramen, loop}, nil},
		{"34, foramen of the other side", lower("34", 18), []Structure{left, other}, []string{"canal:", "anterior_loop:"}},
		{"33, nothing", lower("33", 14), nil, []string{"nor the mental foramen on this side"}},
		{"33, other side's foramen and loop", lower("33", 14), []Structure{other, point(AnteriorLoop, "right loop", -18)}, []string{"nor the mental foramen"}},
		{"31, nothing", lower("31", 3), nil, nil},
		{"31, foramen marked", lower("31", 3), []Structure{foramen, other}, []string{`"left foramen"`}},
		{"41, foramen marked", lower("41", -3), []Structure{foramen, other}, []string{`"right foramen"`}},
		{"31, only the other side's foramen", lower("31", 3), []Structure{other}, nil},
		{"31, only the other side's loop", lower("31", 3), []Structure{foramen, point(AnteriorLoop, "right loop", -12)}, []string{`"left foramen"`}},
		{"no tooth", Place{}, nil, []string{"no ISO 3950 number"}},
		{"a tooth that is none", lower("39", 24), []Structure{left}, []string{"no ISO 3950 number"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := Missing(c.place, c.marks, Margins())
			if len(got) != len(c.want) {
				t.Fatalf("%d findings (%s), want %d", len(got), reasons(got), len(c.want))
			}
			for i, f := range got {
				if f.Verdict != NotAssessed || f.Distance.Value == f.Distance.Value || !strings.Contains(string(f.Kind)+": "+f.Reason, c.want[i]) {
					t.Errorf("finding %+v, want %q", f, c.want[i])
				}
			}
		})
	}
}

func TestWhatIsNotMarkedInTheUpperJaw(t *testing.T) {
	up := func(tooth string, x float64) Place {
		p := lower(tooth, x)
		p.Occlusal = v(0, 0, -1)
		return p
	}
	sinus := Structure{Name: "left sinus", Kind: Sinus, Surface: boxMesh(v(15, 15, 8), v(35, 50, 40))}
	for _, c := range []struct {
		name  string
		place Place
		seen  []Kind
		marks []Structure
		want  []Kind
	}{
		{"26", up("26", 24), nil, nil, []Kind{Sinus}},
		{"26 seen", up("26", 24), []Kind{Sinus}, nil, nil},
		{"26 marked", up("26", 24), nil, []Structure{sinus}, nil},
		{"16, other side marked", up("16", -24), nil, []Structure{sinus}, []Kind{Sinus}},
		{"11", up("11", -3), nil, nil, []Kind{NasalFloor, IncisiveCanal}},
		{"21, floor seen", up("21", 3), []Kind{NasalFloor}, nil, []Kind{IncisiveCanal}},
		{"21, canal marked", up("21", 3), nil, []Structure{point(IncisiveCanal, "incisive canal", 0)}, []Kind{NasalFloor}},
		{"13", up("13", -14), nil, nil, []Kind{NasalFloor}},
	} {
		p := c.place
		p.Seen = c.seen
		var got []Kind
		for _, f := range Missing(p, c.marks, Margins()) {
			got = append(got, f.Kind)
			if f.Verdict != NotAssessed {
				t.Errorf("%s: verdict %q", c.name, f.Verdict)
			}
		}
		if len(got) != len(c.want) || len(got) > 0 && got[0] != c.want[0] || len(got) > 1 && got[1] != c.want[1] {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// Which way the arch runs, and turning the head by 30°, change nothing.
func TestMissingDoesNotDependOnTheArchsDirection(t *testing.T) {
	rot := r3.NewRotation(0.5, v(0, 0, 1))
	for _, marks := range [][]Structure{nil, {run("right canal", -20, -33)}, {run("left canal", 20, 25)}, {run("left canal", 20, 33), point(MentalForamen, "f", 20)}} {
		for _, p := range []Place{lower("37", 28), lower("35", 20.5), lower("34", 18), lower("46", -24)} {
			want := reasons(Missing(p, marks, Margins()))
			back := p
			back.Tangent = r3.Scale(-1, p.Tangent)
			if got := reasons(Missing(back, marks, Margins())); got != want {
				t.Errorf("tangent reversed: %q, want %q", got, want)
			}
			turned := p
			turned.At, turned.Tangent = rot.Rotate(p.At), rot.Rotate(p.Tangent)
			var moved []Structure
			for _, s := range marks {
				path := s.Path
				s.Path = nil
				for _, x := range path {
					s.Path = append(s.Path, rot.Rotate(x))
				}
				moved = append(moved, s)
			}
			if got := reasons(Missing(turned, moved, Margins())); got != want {
				t.Errorf("head turned: %q, want %q", got, want)
			}
		}
	}
}

// along is a place of the implant's body over the invented arch of [lower], mesial toward its tip.
func along(x float64, number int) Spot {
	m := r3.Unit(v(-1, -x/9, 0))
	if x < 0 {
		m = r3.Unit(v(1, x/9, 0))
	}
	return Spot{At: v(x, x*x/18, 0), Mesial: m, Number: number}
}

// What must be marked follows from the number and from every place along the body, the strictest.
func TestEveryPlaceAlongTheBodyIsAsked(t *testing.T) {
	left, foramen := run("left canal", 20, 33), point(MentalForamen, "left foramen", 20)
	loop := point(AnteriorLoop, "left loop", 18)
	marks := []Structure{left, foramen, loop}
	leans := lower("33", 14)
	leans.Along = []Spot{along(14, 3), along(18, 4)}
	if got := reasons(Missing(leans, nil, Margins())); !strings.Contains(got, "canal not marked on this side") {
		t.Errorf("33 leaning over 34 with nothing marked: %q", got)
	}
	if got := reasons(Missing(leans, marks, Margins())); got != "" {
		t.Errorf("all marked: %q", got)
	}
	// A molar's place called 31, with nothing marked.
	wrong := lower("31", 24)
	wrong.Along = []Spot{along(24, 6)}
	if got := reasons(Missing(wrong, nil, Margins())); !strings.Contains(got, "canal: canal not marked") {
		t.Errorf("31 at a molar's place: %q", got)
	}
	// And what the number asks stays asked where the place would not.
	right := lower("36", 2)
	right.Along = []Spot{along(2, 1)}
	if got := reasons(Missing(right, nil, Margins())); !strings.Contains(got, "canal: canal not marked") {
		t.Errorf("36 at an incisor's place: %q", got)
	}
}

// A posterior site in whose section no canal appears is never held, unless the canal ends at a marked
// foramen distal of the whole body by the margin, and the loop is marked or declared absent.
func TestCanalThatIsNotInTheSection(t *testing.T) {
	canal, foramen := run("left canal", 24, 33), point(MentalForamen, "left foramen", 24)
	near, loop := point(MentalForamen, "left foramen", 18.5), point(AnteriorLoop, "left loop", 20)
	place := func(absent ...Kind) Place {
		p := lower("34", 17)
		p.CanalElsewhere, p.Absent = true, absent
		return p
	}
	for name, c := range map[string]struct {
		place Place
		marks []Structure
		want  string
	}{
		"no foramen":              {place(), []Structure{canal}, "or the mental foramen it ends at"},
		"loop unknown":            {place(), []Structure{canal, foramen}, "its anterior loop is neither marked nor declared absent"},
		"loop marked":             {place(), []Structure{canal, foramen, loop}, ""},
		"loop declared absent":    {place(AnteriorLoop), []Structure{canal, foramen}, ""},
		"foramen within reach":    {place(AnteriorLoop), []Structure{run("left canal", 18.5, 33), near}, "does not lie distal of the whole implant by the margin"},
		"the body leans over it":  {func() Place { p := place(AnteriorLoop); p.Along = []Spot{along(23, 0)}; return p }(), []Structure{canal, foramen}, "does not lie distal of the whole implant"},
		"declared absent, wholly": {place(AnteriorLoop, Canal), nil, ""},
	} {
		got := reasons(Missing(c.place, c.marks, Margins()))
		if c.want == "" && got != "" || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// What cannot be seen is not known; what was looked for and is absent counts as marked.
func TestDeclaredIsNotMarked(t *testing.T) {
	p := lower("36", 24)
	p.NotVisible = []Kind{Canal}
	if got := reasons(Missing(p, nil, Margins())); !strings.Contains(got, "canal declared not visible in this scan") {
		t.Errorf("not visible: %q", got)
	}
	if got := Missing(p, nil, Margins()); len(got) != 1 || got[0].Verdict != NotAssessed {
		t.Errorf("%+v", got)
	}
	p.NotVisible, p.Absent = nil, []Kind{Canal}
	if got := reasons(Missing(p, nil, Margins())); got != "" {
		t.Errorf("absent: %q", got)
	}
}

// A canal runs past the site where its surface does, by the implant's radius and the margin, 2 + 2 mm, on either
// side. On a straight arch a centre-line that ends 3 mm past the site does with a radius of 1.5 mm, and
// does not with one of 0.5 mm.
func TestCanalRunsPastTheSiteByItsSurface(t *testing.T) {
	site := Place{Tooth: "36", Tangent: v(1, 0, 0), Mesial: v(1, 0, 0), Occlusal: v(0, 0, 1), Radius: 2}
	for _, c := range []struct {
		distal, mesial, radius float64
		want                   string
	}{
		{30, 3, 1.5, ""},
		{30, 3, 0.5, "3.5 mm mesial"},
		{3, 30, 1.5, ""},
		{3, 30, 0.5, "3.5 mm distal"},
		{30, -1, 0.5, "does not reach the site: it ends 0.5 mm distal"},
		{-1, 30, 0.5, "does not reach the site: it ends 0.5 mm mesial"},
	} {
		canal := Structure{Name: "left canal", Kind: Canal, Path: []r3.Vec{v(-c.distal, 0, -15), v(c.mesial, 0, -15)}, Radii: []float64{c.radius, c.radius}}
		got := reasons(Missing(site, []Structure{canal}, Margins()))
		if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%g mm distally, %g mm mesially, radius %g mm: %q, want %q", c.distal, c.mesial, c.radius, got, c.want)
		}
	}
}

// What each tooth asks for where nothing is marked: docs/safety.md. The two sides ask alike.
func TestWhatEveryToothAsksFor(t *testing.T) {
	want := map[string]string{
		"1": "nasal_floor incisive_canal", "2": "nasal_floor", "3": "nasal_floor", "4": "sinus", "5": "sinus", "6": "sinus", "7": "sinus", "8": "sinus",
	}
	below := map[string]string{"1": "", "2": "", "3": "anterior_loop", "4": "canal anterior_loop", "5": "canal", "6": "canal", "7": "canal", "8": "canal"}
	for quadrant, kinds := range map[string]map[string]string{"1": want, "2": want, "3": below, "4": below} {
		for tooth, want := range kinds {
			var got []string
			for _, f := range Missing(Place{Tooth: quadrant + tooth, Tangent: v(1, 0, 0), Occlusal: v(0, 0, 1)}, nil, Margins()) {
				got = append(got, string(f.Kind))
			}
			if strings.Join(got, " ") != want {
				t.Errorf("%s%s: %v, want %s", quadrant, tooth, got, want)
			}
		}
	}
}

// flat is a site at the origin of a straight arch, mesial toward +x, and mark a mark beside it, both 15 mm apart
// in height, which says nothing.
func flat(tooth string) Place {
	return Place{Tooth: tooth, Tangent: v(1, 0, 0), Mesial: v(1, 0, 0), Occlusal: v(0, 0, 1), Radius: 2}
}

func mark(kind Kind, x, y, radius float64) Structure {
	return Structure{Name: string(kind), Kind: kind, Path: []r3.Vec{v(x, y, -15)}, Radii: []float64{radius}}
}

func straight(name string, y float64, x ...float64) Structure {
	s := Structure{Name: name, Kind: Canal}
	for _, x := range x {
		s.Path, s.Radii = append(s.Path, v(x, y, -15)), append(s.Radii, 1)
	}
	return s
}

// Every bound of these rules, on it and just past it: 20 mm to the side; the implant's radius of 2 mm (2.5 mm where
// it is not known) and the margin of 2 mm along the arch; 5 mm from a canal's end to its foramen; half-way between
// along the arch and across it.
func TestBoundsOfWhatIsMissing(t *testing.T) {
	unknown := flat("36")
	unknown.Radius = 0
	elsewhere := func(loop bool) Place {
		p := flat("36")
		p.CanalElsewhere = true
		if loop {
			p.Absent = []Kind{AnteriorLoop}
		}
		return p
	}
	over := func(x float64) Place {
		p := elsewhere(true)
		p.Along = []Spot{{At: v(x, 0, 0), Mesial: v(1, 0, 0)}}
		return p
	}
	mesh := Structure{Name: "mesh", Kind: Canal, Surface: boxMesh(v(-30, -1, -16), v(3, 1, -14))}
	for name, c := range map[string]struct {
		place Place
		marks []Structure
		want  string // a part of the reasons; empty: nothing is missing
	}{
		"sinus at 20 mm":                      {flat("26"), []Structure{mark(Sinus, 0, 20, 0)}, ""},
		"sinus past 20 mm":                    {flat("26"), []Structure{mark(Sinus, 0, 20.01, 0)}, "sinus not marked on this side"},
		"canal at 20 mm":                      {flat("36"), []Structure{straight("c", 20, -30, 30)}, ""},
		"canal past 20 mm":                    {flat("36"), []Structure{straight("c", 20.01, -30, 30)}, `canal not marked on this side: "c" lies 20 mm away`},
		"nearest part rather along the arch":  {flat("36"), []Structure{straight("c", -20, -30, -21)}, `canal "c" does not reach the site: it ends 29 mm away`},
		"nearest part rather across the arch": {flat("36"), []Structure{straight("c", -22, -30, -21)}, `canal not marked on this side: "c" lies 30 mm away`},

		"mesially by radius and margin":  {flat("36"), []Structure{straight("c", 0, -30, 3)}, ""},
		"less than that":                 {flat("36"), []Structure{straight("c", 0, -30, 2.99)}, `canal "c" ends 4.0 mm mesial of the site, within reach of the margin: mark it further mesially`},
		"distally by radius and margin":  {flat("36"), []Structure{straight("c", 0, 30, -3)}, ""},
		"less than that distally":        {flat("36"), []Structure{straight("c", 0, 30, -2.99)}, `canal "c" ends 4.0 mm distal of the site`},
		"just at the site":               {flat("36"), []Structure{straight("c", 0, -30, -1)}, `canal "c" ends 0.0 mm mesial of the site`},
		"radius not known":               {unknown, []Structure{straight("c", 0, -30, 3.5)}, ""},
		"radius not known, less":         {unknown, []Structure{straight("c", 0, -30, 3.49)}, "4.5 mm mesial"},
		"a canal drawn as a surface":     {flat("36"), []Structure{mesh, mark(MentalForamen, 4, 0, 1)}, `canal "mesh" ends 3.0 mm mesial`},
		"of two canals the nearer":       {flat("36"), []Structure{straight("far", 9, -30, 0), straight("near", 1, -30, 2)}, `"near" ends 3.0`},
		"of two canals the nearer first": {flat("36"), []Structure{straight("near", 1, -30, 2), straight("far", 9, -30, 0)}, `"near" ends 3.0`},

		"end 5 mm from its foramen":           {flat("36"), []Structure{straight("c", 0, -30, 0), mark(MentalForamen, 7, 0, 1)}, ""},
		"end past 5 mm from it":               {flat("36"), []Structure{straight("c", 0, -30, 0), mark(MentalForamen, 7.01, 0, 1)}, `canal "c" ends 1.0 mm mesial`},
		"the other end at it":                 {flat("36"), []Structure{straight("c", 0, 0, -30), mark(MentalForamen, 7, 0, 1)}, ""},
		"the distal end at one":               {flat("36"), []Structure{straight("c", 0, -10, 0), mark(MentalForamen, -12, 0, 1)}, `canal "c" ends 1.0 mm mesial`},
		"end at its loop":                     {flat("36"), []Structure{straight("c", 0, -30, 0), mark(AnteriorLoop, 7, 0, 1)}, ""},
		"not in the section, foramen by both": {elsewhere(true), []Structure{straight("c", 0, -30, -5), mark(MentalForamen, -5, 0, 1)}, ""},
		"not in the section, nearer":          {elsewhere(true), []Structure{straight("c", 0, -30, -5), mark(MentalForamen, -4.99, 0, 1)}, "does not lie distal"},
		"not in the section, loop unknown":    {elsewhere(false), []Structure{straight("c", 0, -30, -5), mark(MentalForamen, -5, 0, 1)}, "anterior loop is neither marked"},

		"not in the section, body by both": {over(0), []Structure{straight("c", 0, -30, -5), mark(MentalForamen, -5, 0, 1)}, ""},
		"not in the section, body nearer":  {over(-0.01), []Structure{straight("c", 0, -30, -5), mark(MentalForamen, -5, 0, 1)}, "does not lie distal"},
		"canal 20 mm off along the arch":   {flat("36"), []Structure{straight("c", 0, -40, -20)}, "does not reach the site: it ends 19.0 mm distal"},

		"35 distal of its foramen by both":    {flat("35"), []Structure{straight("c", 0, -30, 30), mark(MentalForamen, 3, 0, 1)}, ""},
		"35 less than that":                   {flat("35"), []Structure{straight("c", 0, -30, 30), mark(MentalForamen, 2.99, 0, 1)}, `does not lie distal to "mental_foramen"`},
		"36 over its foramen":                 {flat("36"), []Structure{straight("c", 0, -30, 30), mark(MentalForamen, 0, 0, 1)}, ""},
		"33, foramen mesial within 20 mm":     {flat("33"), []Structure{mark(MentalForamen, 20, 0, 1)}, ""},
		"33, foramen mesial past 20 mm":       {flat("33"), []Structure{mark(MentalForamen, 20.01, 0, 1)}, "nor the mental foramen on this side"},
		"32, foramen mesial is the other's":   {flat("32"), []Structure{mark(MentalForamen, 10, 0, 1)}, ""},
		"32, foramen just at the site's side": {flat("32"), []Structure{mark(MentalForamen, -1, 0, 1)}, ""},
		"32, foramen distal":                  {flat("32"), []Structure{mark(MentalForamen, -1.01, 0, 1)}, `"mental_foramen"`},
	} {
		got := reasons(Missing(c.place, c.marks, Margins()))
		if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
	near, far := mark(MentalForamen, -6, 0, 1), mark(MentalForamen, -9, 0, 1)
	near.Name, far.Name = "near", "far"
	for _, marks := range [][]Structure{{near, far}, {far, near}} {
		if got := reasons(Missing(flat("33"), marks, Margins())); !strings.Contains(got, `distal to "near"`) {
			t.Errorf("of two foramina the nearer: %q", got)
		}
	}
}
