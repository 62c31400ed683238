package align

import "fmt"

// Facts puts the fit into words.
func (f *SurfaceFit) Facts() []Fact {
	return []Fact{
		{"marked pairs", fmt.Sprintf("%d, %.2f mm off each other by their best fit, root mean square", len(f.Start.Residuals), f.Start.RMS)},
		{"places of the surface with an edge of the scan", fmt.Sprintf("%d of %d", f.Used, f.Asked)},
		{"spread of the edges about the surface", fmt.Sprintf("%.3f mm", f.Rest)},
		{"edges outside the surface, mean (taken out)", fmt.Sprintf("%+.3f mm", f.Offset)},
		{"moved from the marked pairs' place", fmt.Sprintf("%.2f mm", f.Moved)},
		{"pieces of the surface from which the uncertainty follows", fmt.Sprint(f.Blocks)},
	}
}
