package align

import (
	"fmt"
)

// Facts puts the fit into words.
func (f *ScanFit) Facts() []Fact {
	return []Fact{
		{"points used", fmt.Sprint(f.Points)},
		{"share of the first scan's bone in the second's field", fmt.Sprintf("%.0f %%", 100*f.Overlap)},
		{"mutual information", fmt.Sprintf("%.3f nats; %s", f.Information, second(f.Next))},
		{"mirror image against the scan itself", fmt.Sprintf("%.2f", f.Mirrored)},
		{"parts of the bone, median distance from where the whole takes them", fmt.Sprintf("%.2f mm", f.Apart)},
		{"size of the second scan against the first (a check, not applied)", fmt.Sprintf("%+.3f %%, u %.3f %%", 100*f.Size, 100*f.SizeStd)},
	}
}

func second(nats float64) string {
	if nats == 0 {
		return "no other place was met"
	}
	return fmt.Sprintf("at the next best place %.3f on coarse voxels", nats)
}

// FitSets brings the platforms of the first set onto those of the same name in the second ([FitPoints]). It returns an error
// wrapping [ErrPoints] where too few names are common, where a mirrored fit of platforms and axes leaves less, and where distances
// between platforms say that the sets are not of one case, or not both in mm.
func FitSets(first, second Set) (PointFit, error) {
	from, to, _ := common(first, second)
	fit, err := FitPoints(places(from), places(to))
	if err != nil {
		return PointFit{}, err
	}
	if _, _, err := mirrored(from, to); err != nil {
		return PointFit{}, err
	}
	c := &Comparison{}
	c.pairs(from, to)
	return fit, c.oneCase()
}

// Facts puts the fit into words.
func (f PointFit) Facts() []Fact {
	out := []Fact{
		{"pairs of points", fmt.Sprint(len(f.Residuals))},
		{"residual, root mean square", fmt.Sprintf("%.3f mm", f.RMS)},
		{"the same of the mirror image", fmt.Sprintf("%.3f mm", f.MirrorRMS)},
	}
	size := fmt.Sprintf("%+.3f %%", 100*(f.ScaleFound-1))
	if f.ScaleStd == f.ScaleStd {
		size += fmt.Sprintf(", u %.3f %%", 100*f.ScaleStd)
	}
	return append(out, Fact{"size of the second against the first (a check, not applied)", size})
}
