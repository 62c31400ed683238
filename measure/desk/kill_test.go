package desk

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/plan"
)

// TestMain serves a desk instead of testing where the environment names a plan: the process that [TestNoAnsweredActIsLost] kills.
func TestMain(m *testing.M) {
	if path := os.Getenv("DESK_SERVES"); path != "" {
		os.Exit(servePlan(path))
	}
	os.Exit(m.Run())
}

// servePlan serves a plan on a small empty scan and writes a tab's secret and the port.
func servePlan(path string) int {
	v := &volume.Volume{Grid: volume.Grid{Size: [3]int{4, 4, 4}, Step: [3]r3.Vec{{X: 20}, {Y: 20}, {Z: 20}}}, Stored: make([]int16, 64), Rescale: []volume.Rescale{{Slope: 1}}}
	d, err := Open(Scan{Volume: v, Synthetic: true, Facts: measure.Scan{Verdict: "fit"}}, path, Options{})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	fmt.Println(d.secrets.enter("Bearer "+d.secrets.invite()), d.port())
	_ = d.Serve(context.Background())
	return 0
}

// served is a desk in a process of its own.
type served struct {
	process      *exec.Cmd
	secret, port string
}

func serves(t *testing.T, path string) *served {
	t.Helper()
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), "DESK_SERVES="+path)
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	s := &served{process: c}
	_, err = fmt.Sscan(line, &s.secret, &s.port)
	require.NoError(t, err)
	return s
}

// kill ends the process as nothing that it could notice.
func (s *served) kill() {
	_ = s.process.Process.Kill()
	_ = s.process.Wait()
}

// call asks; the answer is empty where the process was killed meanwhile.
func (s *served) call(method, path, tag string, body any) (status int, answer []byte) {
	data, _ := json.Marshal(body)
	r, err := http.NewRequest(method, "http://127.0.0.1:"+s.port+"/api/"+path, bytes.NewReader(data))
	if err != nil {
		return 0, nil
	}
	r.Header.Set("Authorization", "Bearer "+s.secret)
	r.Header.Set("If-Match", `"`+tag+`"`)
	w, err := (&http.Client{Timeout: 20 * time.Second}).Do(r)
	if err != nil {
		return 0, nil
	}
	defer w.Body.Close()
	answer, err = io.ReadAll(w.Body)
	if err != nil {
		return 0, nil
	}
	return w.StatusCode, answer
}

// actOfStep is an act of each step, and what takes it back: act n of the test below does one of them beside its number.
var actOfStep = []edit{
	{"set", "jaw", []byte(`"mandible"`)},
	{"set", "occlusal", []byte(`[0, 0, 1]`)},
	{"insert", "arch.points[0]", []byte(`[1, 2, 3]`)},
	{"insert", "structures[0]", []byte(`{"name": "left canal", "kind": "canal", "path": [[1, 2, 3], [4, 5, 6]], "radius_mm": 1.5}`)},
	{"insert", "sites[0]", []byte(`{"tooth": "36", "id": "36", "at": [1, 2, 3]}`)},
	{"set", "sites[0].implant", []byte(`{"diameter_mm": 4, "length_mm": 10}`)},
	{"insert", "readings[0]", []byte(`{"id": "r1", "site": "36", "from": [1, 2, 3], "to": [4, 5, 6], "snapped": false}`)},
	{"delete", "readings[0]", nil},
	{"delete", "sites[0].implant", nil},
	{"delete", "sites[0]", nil},
	{"delete", "structures[0]", nil},
	{"delete", "arch.points[0]", nil},
	{"delete", "occlusal", nil},
	{"set", "jaw", []byte(`"maxilla"`)},
}

// madeBy returns the edits of act n.
func madeBy(n int) []edit {
	return []edit{{"set", "orientation_note", []byte(fmt.Sprintf(`"act %d"`, n))}, actOfStep[(n-1)%len(actOfStep)]}
}

// whole holds that a plan is as act n left it: with the parts that were put in and not yet taken out.
func whole(t *testing.T, p *plan.Plan, n int) {
	t.Helper()
	last := (n-1)%len(actOfStep) + 1 // acts of this round that were done
	has := func(first int) bool { return last >= first && last <= len(actOfStep)-first }
	if n == 0 {
		last = 0
	}
	require.Equal(t, has(2), p.OcclusalGiven != r3.Vec{}, "act %d", n)
	require.Equal(t, has(3), len(p.Arch) == 1, "act %d", n)
	require.Equal(t, has(4), len(p.Structures) == 1, "act %d", n)
	require.Equal(t, has(5), len(p.Sites) == 1, "act %d", n)
	require.Equal(t, has(6), len(p.Sites) == 1 && p.Sites[0].Implant != nil, "act %d", n)
	require.Equal(t, has(7), len(p.Readings) == 1, "act %d", n)
}

// Killed while acts run in, at moments drawn by chance, a desk has lost no act that it answered, and has done at most the one in
// hand beside, whole: acts of every step. A few times here, a thousand where RIDGERULE_LONG says so.
func TestNoAnsweredActIsLost(t *testing.T) {
	kills := 4
	if os.Getenv("RIDGERULE_LONG") != "" {
		kills = 1000
	}
	path := filepath.Join(t.TempDir(), "pine.yaml")
	r := rand.New(rand.NewPCG(15, 9))
	answered, beside := 0, 0 // the last act that was; those that were done and not answered
	for k := range kills {
		s := serves(t, path)
		time.AfterFunc(time.Duration(r.IntN(60))*time.Millisecond, func() { _ = s.process.Process.Kill() })
		at := noteIn(t, path)
		require.True(t, at == answered || at == answered+1, "kill %d: the plan has act %d; %d was the last that was answered", k, at, answered)
		beside += at - answered
		answered = at
		for n := answered + 1; ; n++ {
			status, text := s.call("GET", "state", "", nil)
			var now state
			if status != 200 || json.Unmarshal(text, &now) != nil {
				break
			}
			status, _ = s.call("POST", "do", now.Tag, map[string]any{"words": "note", "edits": madeBy(n)})
			if status != 200 {
				require.Zero(t, status, "an act was refused")
				break
			}
			answered = n
		}
		s.kill()
	}
	require.Positive(t, answered, "no act was answered at all")
	t.Logf("%d kills, %d acts answered, %d done beside", kills, answered-beside, beside)
}

// noteIn returns the number of the last act in a plan's file, 0 where there is none.
func noteIn(t *testing.T, path string) int {
	text, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return 0
	}
	require.NoError(t, err)
	p, _, _ := plan.ReadDraft("pine.yaml", text, nil)
	require.NotNil(t, p, "the plan is whole: %s", text)
	n := 0
	if p.OrientationNote != "" {
		_, err = fmt.Sscanf(p.OrientationNote, "act %d", &n)
		require.NoError(t, err)
	}
	whole(t, p, n)
	return n
}

// Ten thousand requests of somebody who has the secret and sends garbage to every call: each is answered, by a refusal or by what
// reads only, none changes the plan, and none ends the desk. A few hundred of them here, all where RIDGERULE_LONG says so.
func TestGarbageWithTheSecret(t *testing.T) {
	n := 300
	if os.Getenv("RIDGERULE_LONG") != "" {
		n = 10_000
	}
	path := planAt(t, wholePlan)
	d, _ := opened(t, path, Options{})
	s := &served{secret: d.secrets.enter("Bearer " + d.secrets.invite()), port: d.port()}
	r := rand.New(rand.NewPCG(10, 4))
	word := func() string {
		b := make([]byte, r.IntN(40))
		for i := range b {
			b[i] = byte(r.IntN(256))
		}
		return string(b)
	}
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	bits := []string{"{", "}", "[", "]", `"edits"`, `"path"`, `"sites[0].at"`, `"value"`, ":", ",", "1e999", "-0", "null", `"do"`, `"set"`, `"marks"`, `"at"`, `"arc_mm"`, "NaN", `"\ud800"`}
	for i := range n {
		var b strings.Builder
		for range r.IntN(30) {
			b.WriteString(bits[r.IntN(len(bits))])
		}
		path, body := pick("do", "undo", "redo", "review", "output", "trace", "distances", "snap", "invite", "nothing"), []byte(pick(b.String(), word(), "{}", ""))
		if path == "undo" || path == "redo" || path == "invite" {
			body = []byte(word())
		}
		q, err := http.NewRequest("POST", "http://127.0.0.1:"+d.port()+"/api/"+path, bytes.NewReader(body))
		require.NoError(t, err)
		q.Header.Set("Authorization", "Bearer "+s.secret)
		q.Header.Set("If-Match", pick("", `"x"`, `"`+d.session.draft.tag+`"`))
		w, err := http.DefaultClient.Do(q)
		require.NoError(t, err, "%d: %s %q", i, path, body)
		w.Body.Close()
		require.NotEqual(t, 500, w.StatusCode, "%d: %s %q", i, path, body)
	}
	for range n / 10 {
		q := "/api/" + pick("axial", "across", "section", "lengthwise", "panoramic", "tooth") + "?" + pick("z", "step", "arc", "thick", "half", "above", "at", "axis", "v") + "=" + pick("NaN", "1e400", "-1e9", "x", "0", "1e-300", "0,0,0", "NaN,1,1e400", "1,2")
		w, err := func() (*http.Response, error) {
			r, err := http.NewRequest("GET", "http://127.0.0.1:"+d.port()+q, nil)
			require.NoError(t, err)
			r.Header.Set("Authorization", "Bearer "+s.secret)
			return http.DefaultClient.Do(r)
		}()
		require.NoError(t, err, q)
		_, _ = io.Copy(io.Discard, w.Body)
		w.Body.Close()
		require.NotEqual(t, 500, w.StatusCode, q)
	}
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, wholePlan, string(text))
}
