package plan

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// frontRoot writes a root with a tooth's number in its name, x mm to the left of the midline.
func frontRoot(number int, x float64) string {
	return fmt.Sprintf("{name: root %d, kind: root, radius_mm: 2, path: [[%g, -38, -5], [%g, -38, -15]]}", number, x, x)
}

// What is said of a plan's structures and points by themselves: structures and site lines go into a right plan.
func TestPlanAgainstItself(t *testing.T) {
	p := archOf(0)
	// a path under the left half of the arch, and the same mirrored to the right
	left, right := "", ""
	for _, a := range p[16:24] {
		left += fmt.Sprintf("[%g, %g, -15], ", a.X, a.Y)
		right += fmt.Sprintf("[%g, %g, -15], ", -a.X, a.Y)
	}
	left, right = "path: ["+strings.TrimSuffix(left, ", ")+"]", "path: ["+strings.TrimSuffix(right, ", ")+"]"
	for name, c := range map[string]struct {
		structure, site string
		want            string // code and severity; empty: nothing is said
	}{
		"a canal where its name says":              {"{name: left canal, kind: canal, radius_mm: 1.5, " + left + "}", "", ""},
		"a canal whose name says the other side":   {"{name: left canal, kind: canal, radius_mm: 1.5, " + right + "}", "", "name_side at best uncertain"},
		"a root where its number says":             {"{name: root 36, kind: root, radius_mm: 2, " + left + "}", "", ""},
		"a root whose number says the other side":  {"{name: root 36, kind: root, radius_mm: 2, " + right + "}", "", "name_side at best uncertain"},
		"a number of the other jaw says no side":   {"{name: root 16, kind: root, radius_mm: 2, " + left + "}", "", ""},
		"words and number that contradict":         {"{name: left root 46, kind: root, radius_mm: 2, " + left + "}", "", ""},
		"front roots with their names":             {frontRoot(41, -4) + "\n  - " + frontRoot(31, 4), "", ""},
		"front roots with each other's names":      {frontRoot(31, -4) + "\n  - " + frontRoot(41, 4), "", "structure_order at best uncertain"},
		"crowded front roots, 3 mm apart":          {frontRoot(31, -1.5) + "\n  - " + frontRoot(41, 1.5), "", ""},
		"a root behind the site named as before":   {"{name: root 34, kind: root, radius_mm: 2, path: [[27, 0, -5], [27, 0, -15]]}", "", "structure_order at best uncertain"},
		"a root behind the site":                   {"{name: root 37, kind: root, radius_mm: 2, path: [[27, 0, -5], [27, 0, -15]]}", "", ""},
		"a foramen where premolars stand":          {"{name: f, kind: mental_foramen, radius_mm: 1.5, path: [[24, -18, -10]]}", "", ""},
		"a foramen in front":                       {"{name: f, kind: mental_foramen, radius_mm: 1.5, path: [[3, -38, -10]]}", "", "foramen_place at best uncertain"},
		"a foramen far behind":                     {"{name: f, kind: mental_foramen, radius_mm: 1.5, path: [[27, 3, -10]]}", "", "foramen_place at best uncertain"},
		"a canal thinner than any":                 {"{name: left canal, kind: canal, radius_mm: 0.15, " + left + "}", "", "radius_small at best uncertain"},
		"a canal of a radius that is rare":         {"{name: left canal, kind: canal, radius_mm: 0.6, " + left + "}", "", ""},
		"a nasal floor of thin balls":              {"{name: floor, kind: other, radius_mm: 0.15, " + left + "}", "", ""},
		"a canal marked by a chord of 33 mm":       {"{name: nerve, kind: canal, radius_mm: 1.5, path: [[18, -22, -15], [30, 8.7, -15]]}", "", "path_step at best uncertain"},
		"a canal marked by two points":             {"{name: nerve, kind: canal, radius_mm: 1.5, path: [[20, -10, -15], [26, 5, -15]]}", "", "path_step caution"},
		"a path that turns back":                   {"{name: nerve, kind: canal, radius_mm: 1.5, path: [[20, -10, -15], [24, -3, -15], [21, -8, -15]]}", "", "path_turns_back at best uncertain"},
		"an axis that leans 60°":                   {"", "axis: [0, 1.732, -1]", "lean caution"},
		"an implant of 22 mm":                      {"", "implant: {diameter_mm: 4, length_mm: 22}", "beyond_ridge not assessed"},
		"an implant called so":                     {"", "implant: {diameter_mm: 4, length_mm: 12, beyond_ridge: true}", "beyond_ridge not assessed"},
		"a platform far out of its section":        {"", "implant: {platform: [20, -25, 0], axis: [0, 0, -1], diameter_mm: 4, length_mm: 10}", "platform_off_section caution"},
		"a site 7 mm beside the arch, at the side": {"", "@[34, -3, 0]", "at_off_arch at best uncertain"},
	} {
		t.Run(name, func(t *testing.T) {
			text := planText(p, "mandible", "", []string{"36@37"})
			site := c.site
			if at, ok := strings.CutPrefix(site, "@"); ok {
				i := strings.Index(text, "arc_mm:")
				text, site = text[:i]+"at: "+at+"}\n", ""
			}
			if site != "" {
				text = strings.TrimSuffix(text, "}\n") + ", " + site + "}\n"
			}
			if c.structure != "" {
				text += "structures:\n  - " + c.structure + "\n"
			}
			plan, source, err := Read("plan.yaml", []byte(text), nil)
			require.NoError(t, err)
			found, err := plan.Check(source)
			require.NoError(t, err)
			said := []string{}
			for _, f := range found {
				said = append(said, f.Code+" "+string(f.Severity))
			}
			if c.want == "" {
				assert.Empty(t, said)
				return
			}
			assert.True(t, slices.Contains(said, c.want), "%v", said)
		})
	}
}
