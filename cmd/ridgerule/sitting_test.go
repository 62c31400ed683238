package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
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

	"ridgerule/dicomio"
	"ridgerule/dicomio/temporary"
	"ridgerule/measure/practice"
)

// readTwo makes a sitting of two cases with n questions each in the folder r01, and returns its folder's parent.
func readTwo(t *testing.T, n int) string {
	t.Helper()
	dir := t.TempDir()
	if err := dicomio.WriteCT(filepath.Join(dir, "scan"), ridgeVolume(), dicomio.WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"list.csv": "case,series,plan\nlarch,scan,plan.yaml\ncypress,scan,plan.yaml\n",
		"plan.yaml": `format: 1
case: zebra
jaw: mandible
arch: {points: [[-28, 11.36, 20], [-20, -4, 20], [-10, -16, 20], [0, -20, 20], [10, -16, 20], [20, -4, 20], [28, 11.36, 20]]}
sites:
  - {tooth: "36", at: [20, -4, 20], height_to: border, axis: occlusal}
`} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	ask := []string{"ridge_height"}
	for k := 1; k < n; k++ {
		ask = append(ask, fmt.Sprintf("ridge_width:%d", k))
	}
	c := exec.Command("ridgerule", "read", "list.csv", "--reader", "r01", "-o", "r01", "--ask", strings.Join(ask, ","), "--no-progress")
	c.Dir = dir
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return dir
}

// servedSitting is the page of a sitting in a process of its own.
type servedSitting struct {
	t             *testing.T
	process       *exec.Cmd
	origin, token string
}

func serveSitting(t *testing.T, dir string) *servedSitting {
	t.Helper()
	s := &servedSitting{t: t, process: exec.Command("ridgerule", "desk", "--read", "r01", "--no-open")}
	s.process.Dir, s.process.Stderr = dir, os.Stderr
	out, err := s.process.StdoutPipe()
	if err == nil {
		err = s.process.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	origin, invitation, _ := strings.Cut(strings.TrimPrefix(strings.TrimSpace(line), "desk: "), "/#")
	s.origin, s.token = origin, invitation
	_, answer := s.call("POST", "enter", nil)
	var entered struct{ Secret string }
	if err := json.Unmarshal(answer, &entered); err != nil {
		t.Fatal(err)
	}
	s.token = entered.Secret
	return s
}

// call asks; the status is 0 where the process was killed meanwhile.
func (s *servedSitting) call(method, path string, body any) (http.Header, []byte) {
	data, err := json.Marshal(body)
	if err != nil {
		s.t.Fatal(err)
	}
	r, err := http.NewRequest(method, s.origin+"/api/"+path, bytes.NewReader(data))
	if err != nil {
		s.t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+s.token)
	w, err := (&http.Client{Timeout: 30 * time.Second}).Do(r)
	if err != nil {
		return nil, nil
	}
	defer w.Body.Close()
	answer, err := io.ReadAll(w.Body)
	if err != nil {
		return nil, nil
	}
	if w.StatusCode != http.StatusOK {
		s.t.Fatalf("%s %s: %d %s", method, path, w.StatusCode, answer)
	}
	return w.Header, answer
}

// sittingState is what the tests read of what the page is told.
type sittingState struct {
	Total, Answered int
	Item            *struct{ Name string }
}

// answerNext looks at the item in hand and answers it by a line of its own length; "" where all are answered or the process
// was killed.
func (s *servedSitting) answerNext() (item string, value float64) {
	var now sittingState
	_, text := s.call("GET", "practice", nil)
	if json.Unmarshal(text, &now) != nil || now.Item == nil {
		return "", 0
	}
	value = 2 + float64(now.Answered)/4
	s.call("GET", "sheet?item="+now.Item.Name, nil)
	_, text = s.call("POST", "answer", map[string]any{"item": now.Item.Name, "line": [2][3]float64{{5, 5}, {5, 5 + value}}, "certainty": 1 + now.Answered%3})
	if text == nil {
		return "", 0
	}
	return now.Item.Name, value
}

// Killed at moments drawn by chance, a sitting on the page has lost no answer that it had taken, has taken at most the one in
// hand beside, and goes on to the end with every item answered once. A few kills here, two hundred where RIDGERULE_LONG says so.
func TestKilledSittingLosesNoAnswer(t *testing.T) {
	kills, ask := 5, 9
	if os.Getenv("RIDGERULE_LONG") != "" {
		kills, ask = 200, 40
	}
	dir := readTwo(t, ask)
	r := rand.New(rand.NewPCG(16, 2))
	taken := map[string]float64{}
	for range kills {
		s := serveSitting(t, dir)
		stop := time.AfterFunc(time.Duration(r.IntN(120))*time.Millisecond, func() { _ = s.process.Process.Kill() })
		fresh := map[string]float64{}
		for {
			item, value := s.answerNext()
			if item == "" {
				break
			}
			fresh[item] = value
		}
		stop.Stop()
		_ = s.process.Process.Kill()
		_ = s.process.Wait()
		found := answersIn(t, filepath.Join(dir, "r01"))
		for item, value := range fresh {
			taken[item] = value
		}
		for item, value := range taken {
			if found[item] != value {
				t.Fatalf("%s was answered %g and is %g after a kill", item, value, found[item])
			}
		}
		if more := len(found) - len(taken); more > 1 {
			t.Fatalf("%d answers that were not taken", more)
		}
		taken = found
	}
	s := serveSitting(t, dir)
	for item, _ := s.answerNext(); item != ""; item, _ = s.answerNext() {
	}
	_ = s.process.Process.Signal(os.Interrupt)
	if err := s.process.Wait(); err != nil {
		t.Errorf("interrupted, the page ended with %v", err)
	}
	allAnswered(t, filepath.Join(dir, "r01"))
}

// answersIn returns the values that a sitting has: those of its session, and the one that stands in the reader's file alone where
// the process was killed between the two.
func answersIn(t *testing.T, dir string) map[string]float64 {
	t.Helper()
	session, err := openSession(dir)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(dir, answersFile))
	if err != nil {
		t.Fatal(err)
	}
	list, err := practice.ReadReadings(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]float64{}
	for _, r := range append(list, session.Readings()...) {
		if r.Value != nil {
			found[r.Item] = *r.Value
		}
	}
	return found
}

// allAnswered holds a sitting's three files against each other.
func allAnswered(t *testing.T, dir string) {
	t.Helper()
	s, err := openSession(dir)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, a := range s.Answers {
		if seen[a.Reading.Item] {
			t.Errorf("%s is answered twice", a.Reading.Item)
		}
		seen[a.Reading.Item] = true
	}
	if len(seen) != len(s.Items) {
		t.Errorf("%d of %d items answered", len(seen), len(s.Items))
	}
	for file, rows := range map[string]int{answersFile: len(s.Items), "readings.csv": len(s.Items)} {
		data, err := os.ReadFile(filepath.Join(dir, file))
		if got := bytes.Count(data, []byte("\n")) - 1; err != nil || got != rows {
			t.Errorf("%s has %d rows, want %d; %v", file, got, rows, err)
		}
	}
	data, err := os.ReadFile(filepath.Join(dir, answersFile))
	if err != nil {
		t.Fatal(err)
	}
	list, err := practice.ReadReadings(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if fresh, err := s.Take(list, time.Now(), false); fresh != 0 || err != nil {
		t.Errorf("%s says otherwise than the session: %d new, %v", answersFile, fresh, err)
	}
}

// One sitting is open once: a second page and the command are refused, with who holds it. Nothing that the page is told, and
// nothing outside key/, names a case, its plan or a place in the patient.
func TestSittingIsOpenOnceAndBlinded(t *testing.T) {
	dir := readTwo(t, 2)
	s := serveSitting(t, dir)
	defer func() { _ = s.process.Process.Kill(); _ = s.process.Wait() }()
	for _, args := range [][]string{{"desk", "--read", "r01", "--no-open"}, {"read", "list.csv", "--reader", "r01", "-o", "r01"}} {
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second) // a second page would serve for ever
		c := exec.CommandContext(ctx, "ridgerule", args...)
		c.Dir = dir
		out, err := c.CombinedOutput()
		cancel()
		if want := fmt.Sprintf("ridgerule: r01/answers.csv is held by process %d on ", s.process.Process.Pid); err == nil || !strings.HasPrefix(string(out), want) || c.ProcessState.ExitCode() != exitUsage {
			t.Errorf("%v: %v, exit %d, %q, want %s…", args, err, c.ProcessState.ExitCode(), out, want)
		}
	}
	for range 3 {
		_, text := s.call("GET", "practice", nil)
		var now sittingState
		if err := json.Unmarshal(text, &now); err != nil {
			t.Fatal(err)
		}
		head, picture := s.call("GET", "sheet?item="+now.Item.Name, nil)
		if got := head.Get("Picture-Corner"); got != "0.05,44.95,0" || len(picture) != 2*300*450 {
			t.Errorf("the picture's corner is %s, want that of the sheet; %d bytes", got, len(picture))
		}
		s.answerNext()
		for _, word := range []string{"larch", "cypress", "zebra", "scan", "plan.yaml"} {
			if bytes.Contains(text, []byte(word)) {
				t.Errorf("the page is told %q: %s", word, text)
			}
		}
	}
	answers, err := os.ReadFile(filepath.Join(dir, "r01", answersFile))
	if err != nil || !strings.Contains(string(answers), ",2,1,5,5,,5,7,,,\n") {
		t.Errorf("no answer with its line on the sheet: %v\n%s", err, answers)
	}
}

// A set that another page holds is refused, with who holds it; released, it is not.
func TestPracticeIsOpenOnce(t *testing.T) {
	set, err := practice.Draw(practice.Options{Items: 1, Seed: 16, Salt: make([]byte, 16)})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, write := range map[string]func(io.Writer, []practice.Sheet) error{"items.csv": practice.WriteItems, "readings.csv": practice.WriteForm} {
		var b bytes.Buffer
		if err := write(&b, set.Sheets); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	held, _, err := temporary.Hold(filepath.Join(dir, "readings.csv"), time.Now())
	if err != nil {
		t.Fatal(err)
	}
	open := func() string {
		var stderr bytes.Buffer
		if status := run([]string{"desk", "--practice", dir, "--no-open"}, io.Discard, &stderr); status != exitUsage {
			t.Errorf("exit status %d, want %d", status, exitUsage)
		}
		return stderr.String()
	}
	if said := open(); !strings.Contains(said, fmt.Sprintf("readings.csv is held by process %d on ", os.Getpid())) {
		t.Errorf("held: %q", said)
	}
	if err := held.Release(); err != nil {
		t.Fatal(err)
	}
	if said := open(); !strings.Contains(said, "picture of "+set.Sheets[0].Item) {
		t.Errorf("released, with no picture: %q", said)
	}
}
