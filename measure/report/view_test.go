package report

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
)

func viewed(t testing.TB, c Case) *View {
	t.Helper()
	v, err := NewView(c)
	require.NoError(t, err)
	return v
}

// filesOf are the standard outputs of a case.
func filesOf(c Case) ([]File, error) {
	v, err := NewView(c)
	if err != nil {
		return nil, err
	}
	return v.Files(Extra{})
}

func said(r *measure.Result, s *measure.SiteResult) *siteView {
	v := viewOfSite(r, s, Depths(r))
	return &v
}
