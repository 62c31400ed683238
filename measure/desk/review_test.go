package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/measure"
	"ridgerule/measure/plan"
)

// post asks a desk as its page does.
func post(t *testing.T, d *Desk, secret, path, tag string, body any) (status int, answer string) {
	t.Helper()
	data, err := json.Marshal(body)
	require.NoError(t, err)
	r, err := http.NewRequest("POST", "http://127.0.0.1:"+d.port()+"/api/"+path, bytes.NewReader(data))
	require.NoError(t, err)
	r.Header.Set("Authorization", "Bearer "+secret)
	r.Header.Set("If-Match", `"`+tag+`"`)
	w, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer w.Body.Close()
	text, err := io.ReadAll(w.Body)
	require.NoError(t, err)
	return w.StatusCode, string(text)
}

// archFile is the arch of wholePlan in a file of its own.
const archFile = "x,y,z\n-28.5,19.8,0\n-24.3,0.3,0\n-15.2,-21.8,0\n0,-30,0\n15.2,-21.8,0\n24.3,0.3,0\n28.5,19.8,0\n"

// reviewable is wholePlan with everything answered for and its arch in a file; the path of it.
func reviewable(t *testing.T) string {
	from := strings.Index(wholePlan, "arch:")
	to := strings.Index(wholePlan, "sites:")
	path := planAt(t, wholePlan[:from]+"arch: {file: arch.csv}\n"+wholePlan[to:]+
		"  - {name: right canal, kind: canal, path: [[-22, -8, -12], [-26, 12, -13]], radius_mm: 1.5}\n"+
		"declared: [{kind: mental_foramen, side: both, as: absent}, {kind: anterior_loop, side: left, as: absent}]\n")
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(path), "arch.csv"), []byte(archFile), 0o600))
	return path
}

// A review asks for every section, every verdict but held and every kind that nobody answered for; the first two are passed
// over with a reason, the last is not. It names the result that was written, and every output then names it; a change of the
// plan or of a file that it names makes it void, everywhere, from that moment on.
func TestReviewIsAskedForAndBecomesVoid(t *testing.T) {
	path := reviewable(t)
	content := strings.Repeat("0123456789abcdef", 4)
	var said *measure.Reviewed
	now := noon
	d, _ := opened(t, path, Options{Now: func() time.Time { now = now.Add(time.Minute); return now }, Write: func(_ context.Context, _ *plan.Placed, r *measure.Result) (string, error) {
		said = r.Plan.Review
		return content, nil
	}})
	secret := d.secrets.enter("Bearer " + d.secrets.invite())
	ask := reviewAsked{By: "A. Reviewer", Role: "oral surgeon", Looked: []string{"46", "gone"}}
	record := func() (int, string) { return post(t, d, secret, "review", d.session.state().Tag, ask) }

	status, why := record()
	assert.Equal(t, 422, status)
	assert.Contains(t, why, "anterior loop, right: not marked: mark it, or declare it absent or not visible")
	require.NoError(t, d.session.do("declared", d.session.draft.tag, []edit{{"insert", "declared[2]", []byte(`{"kind": "anterior_loop", "side": "right", "as": "not_visible"}`)}}))

	status, why = record()
	assert.Equal(t, 422, status)
	assert.Contains(t, why, "36 "+unseen+": give a reason for passing it over")
	status, why = post(t, d, secret, "review", "", reviewAsked{Ask: true, Looked: ask.Looked})
	require.Equal(t, 200, status)
	var open struct{ Open []openPoint }
	require.NoError(t, json.Unmarshal([]byte(why), &open))
	for _, p := range open.Open {
		ask.Reasons = append(ask.Reasons, givenReason{p, "seen on the pictures of " + p.Finding})
	}
	status, why = record()
	require.Equal(t, 200, status, why)

	p, _, err := plan.Open(path)
	require.NoError(t, err)
	r := p.Review
	require.NotNil(t, r)
	assert.Equal(t, []string{"46"}, r.Looked, "a section that is not there was not looked at")
	assert.Equal(t, content, r.ResultSHA256)
	assert.Equal(t, p.Files, r.Files)
	assert.Len(t, r.Files, 1)
	assert.Len(t, r.Reasons, len(open.Open))
	assert.Equal(t, plan.ReviewReason{Site: "36", Finding: unseen, Reason: "seen on the pictures of " + unseen}, r.Reasons[0])
	require.NotNil(t, said)
	assert.Empty(t, said.Void, "the outputs say who reviewed it")
	assert.Empty(t, d.session.state().Review.Void)

	arch := filepath.Join(filepath.Dir(path), "arch.csv")
	require.NoError(t, os.WriteFile(arch, []byte(strings.Replace(archFile, "-30", "-30.2", 1)), 0o600))
	assert.Equal(t, "arch.csv was changed", d.session.state().Review.Void)
	assert.InDelta(t, -30.2, d.session.state().Arch[3][1], 1e-9, "and what is shown is the changed one")
	require.NoError(t, os.WriteFile(arch, []byte(archFile), 0o600))
	assert.Empty(t, d.session.state().Review.Void, "the same bytes again")
	before := now
	require.NoError(t, d.session.do("tooth", d.session.draft.tag, []edit{{"set", "sites[0].tooth", []byte(`"47"`)}}))
	v := d.session.state().Review
	assert.Equal(t, "the plan was changed", v.Void)
	assert.Equal(t, before.Add(time.Minute).Local().Format("2006-01-02 15:04:05"), v.Since)
	status, _ = post(t, d, secret, "output", "", struct{}{})
	require.Equal(t, 200, status)
	assert.Equal(t, "the plan was changed", said.Void, "the outputs say that it is void")
	require.NoError(t, d.session.turn(verbUndo, d.session.draft.tag))
	assert.Empty(t, d.session.state().Review.Void, "the same plan again")
}
