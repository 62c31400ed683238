package study

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestBytesDoNotDependOnWorkersPartsOrOrder(t *testing.T) {
	m, ctx := manifestOf(t, 8), context.Background()
	one, parts := t.TempDir(), t.TempDir()
	out, err := Run(ctx, m, one, Options{Do: doCase, Tool: "t"})
	require.NoError(t, err)
	require.Equal(t, Outcome{Entries: 8, Done: 8}, out)
	for i := 2; i >= 0; i-- {
		_, err := Run(ctx, m, parts, Options{Do: doCase, Tool: "t", Jobs: 3, Shard: Shard{i, 3}, Memory: 1 << 30})
		require.NoError(t, err)
	}
	want := tables(t, one)
	require.Equal(t, want, tables(t, parts))

	lines := strings.Split(want["measurements.csv"], "\n")
	require.Equal(t, "case,reader,replicate,age,site,tooth,quantity,at_mm,to,value,unit,u,U,margin,verdict,note", lines[0])
	require.True(t, strings.HasPrefix(lines[1], "wall-0,A,1,40,36,36,clearance,,canal,"), lines[1])
	require.Contains(t, want["measurements.csv"], "\nwall-0,A,1,40,36,36,ridge_height,,border,2")
	head, _, _ := strings.Cut(want["sites.csv"], "\n")
	require.Contains(t, head, "case,reader,replicate,age,site,tooth,arc_mm,")
	require.Contains(t, head, ",width_3mm_mm,width_5mm_mm,width_6mm_mm,width_7mm_mm,width_8mm_mm,width_9mm_mm,", "every depth of any case, ascending")
	require.Contains(t, want["datapackage.json"], `"name": "age"`)
	require.Equal(t, "case,reader,replicate,stage,reason\n", want["failures.csv"])
}

func TestSecondRunDoesOnlyWhatIsMissingOrChanged(t *testing.T) {
	ctx, dir, home := context.Background(), t.TempDir(), t.TempDir()
	require.NoError(t, os.CopyFS(filepath.Join(home, "scan"), os.DirFS(filepath.Join(fixture, "scan"))))
	write := func(name, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(home, name), []byte(text), 0o600))
	}
	write("a.yaml", planText(0))
	write("b.yaml", strings.Replace(planText(1), "{points: [[-18, 0, 20], [-6, 0.2, 20], [6, 0.2, 20], [18, 0, 20]]}", "{file: arch.csv}", 1))
	write("arch.csv", "x,y,z\n-18,0,20\n-6,0.2,20\n6,0.2,20\n18,0,20\n")
	m, err := ReadManifest("m.csv", []byte("case,series,plan\na,scan,a.yaml\nb,scan,b.yaml\n"), home)
	require.NoError(t, err)
	again := func(what string, want int, o Options) Outcome {
		t.Helper()
		var n atomic.Int64
		o.Do = counted(&n, doCase)
		out, err := Run(ctx, m, dir, o)
		require.NoError(t, err, what)
		require.Empty(t, out.Failures, what)
		require.EqualValues(t, want, n.Load(), what)
		return out
	}
	again("first", 2, Options{Tool: "t 1"})
	again("nothing changed", 0, Options{Tool: "t 1"})
	write("a.yaml", planText(2))
	again("one plan changed", 1, Options{Tool: "t 1"})
	write("arch.csv", "x,y,z\n-18,0,20\n-6,0.2,20\n6,0.3,20\n18,0,20\n")
	again("a file that a plan names changed", 1, Options{Tool: "t 1"})
	require.NoError(t, os.RemoveAll(filepath.Join(dir, "cases", "b")))
	again("one folder gone", 1, Options{Tool: "t 1"})
	f, err := os.OpenFile(filepath.Join(dir, "cases", "a", "sites.csv"), os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteString("saved by a spreadsheet\n")
	require.NoError(t, errors.Join(err, f.Close()))
	_, err = Merge(dir, MergeOptions{})
	require.ErrorContains(t, err, "cases/a: sites.csv was changed after it was made; remove that folder and run the study again")
	again("a table was changed", 1, Options{Tool: "t 1"})
	again("another version", 2, Options{Tool: "t 2"})
	slices, err := filepath.Glob(filepath.Join(home, "scan", "*"))
	require.NoError(t, err)
	require.NoError(t, os.Chtimes(slices[3], time.Now(), time.Now().Add(time.Minute)))
	again("a slice was touched", 2, Options{Tool: "t 2"})

	before := tables(t, dir)
	require.NoError(t, os.Rename(filepath.Join(home, "scan"), filepath.Join(home, "away")))
	require.Equal(t, 2, again("the series is away", 0, Options{Tool: "t 2"}).Unchecked)
	require.Equal(t, before, tables(t, dir))
}

// What was measured from a plan that is now wrong is not handed out as if it were of the new one.
func TestFailureAfterAChangeHidesTheOldNumbers(t *testing.T) {
	ctx, dir, home := context.Background(), t.TempDir(), t.TempDir()
	plan := filepath.Join(home, "plan.yaml")
	require.NoError(t, os.WriteFile(plan, []byte(planText(0)), 0o600))
	m, err := ReadManifest("m.csv", []byte("case,series,plan\na,"+fixture+"/scan,plan.yaml\n"), home)
	require.NoError(t, err)
	o := Options{Do: doCase, Tool: "t"}
	_, err = Run(ctx, m, dir, o)
	require.NoError(t, err)
	good := tables(t, dir)

	require.NoError(t, os.WriteFile(plan, []byte(strings.Replace(planText(0), "arc_mm: 12", "arc_mm: 900", 1)), 0o600))
	out, err := Run(ctx, m, dir, o)
	require.NoError(t, err)
	require.Len(t, out.Failures, 1)
	require.Equal(t, StagePlan, out.Failures[0].Stage)
	bad := tables(t, dir)
	require.Equal(t, 1, strings.Count(bad["measurements.csv"], "\n"), "a header and no row")
	require.Contains(t, bad["failures.csv"], "a,,,plan,")

	require.NoError(t, os.WriteFile(plan, []byte(planText(0)), 0o600))
	out, err = Run(ctx, m, dir, o)
	require.NoError(t, err)
	require.Equal(t, 1, out.Before, "the old folder is right again")
	require.Equal(t, good, tables(t, dir))
}

func TestOneFailureStopsNoOther(t *testing.T) {
	home, dir := t.TempDir(), t.TempDir()
	for name, text := range map[string]string{"good.yaml": planText(0), "bad.yaml": "format: 1\ncase: x\njaw: both\n"} {
		require.NoError(t, os.WriteFile(filepath.Join(home, name), []byte(text), 0o600))
	}
	require.NoError(t, os.MkdirAll(filepath.Join(home, "Doe^Jane"), 0o700))
	scan := fixture + "/scan"
	m, err := ReadManifest("m.csv", []byte("case,series,plan\nplan,"+scan+",bad.yaml\nnoplan,"+scan+",Doe^Jane.yaml\nnoseries,Doe^Jane/x,good.yaml\n"+
		"empty,Doe^Jane,good.yaml\npanics,"+scan+",good.yaml\nfails,"+scan+",good.yaml\ngood,"+scan+",good.yaml\nnotables,"+scan+",good.yaml\n"), home)
	require.NoError(t, err)
	out, err := Run(context.Background(), m, dir, Options{Tool: "t", Jobs: 3, Do: func(ctx context.Context, j Job) error {
		switch j.Case {
		case "panics":
			panic("index out of range")
		case "fails":
			return &os.PathError{Op: "open", Path: "/home/Doe^Jane/x", Err: os.ErrPermission}
		case "notables":
			return nil
		}
		return doCase(ctx, j)
	}})
	require.NoError(t, err)
	require.Equal(t, 1, out.Done)
	var got []string
	for _, f := range out.Failures {
		got = append(got, f.Case+" "+f.Stage)
	}
	require.Equal(t, []string{"plan plan", "noplan plan", "noseries series", "empty series", "panics crash", "fails measure", "notables write"}, got)
	text := tables(t, dir)["failures.csv"]
	require.NotContains(t, text, "Doe")
	require.NotContains(t, text, home)
	require.Contains(t, text, "fails,,,measure,open: permission denied\n")
	require.Contains(t, text, `noseries,,,series,no such path; correct the series in the manifest`)
	require.Contains(t, text, `"panics"`[1:7]+",,,crash,\"unexpected failure, which is a fault of this program: index out of range; please send us ridgerule-fault-")
}

// Readings that could not be made in memory are refused before a pixel is read; the others never
// take more than the limit together.
func TestMemoryStaysWithinItsLimit(t *testing.T) {
	m, ctx := manifestOf(t, 8), context.Background()
	one := need(50*40*50*2, 1)
	var mu sync.Mutex
	var now, most int64
	do := func(ctx context.Context, j Job) error {
		mu.Lock()
		now += j.Memory + spare
		most = max(most, now)
		mu.Unlock()
		time.Sleep(10 * time.Millisecond)
		mu.Lock()
		now -= j.Memory + spare
		mu.Unlock()
		return errors.New("enough seen")
	}
	limit := ownShare + 2*one + one/2 // two fit, three do not
	_, err := Run(ctx, m, t.TempDir(), Options{Do: do, Jobs: 8, Memory: limit})
	require.NoError(t, err)
	require.Equal(t, 2*one, most)

	out, err := Run(ctx, m, t.TempDir(), Options{Jobs: 2, Memory: ownShare + one - 1, Do: func(context.Context, Job) error {
		t.Error("a case that cannot fit was begun")
		return nil
	}})
	require.NoError(t, err)
	require.Len(t, out.Failures, 8)
	require.Equal(t, StageMemory, out.Failures[0].Stage)
	require.Equal(t, "needs 130 MiB of memory, 193 MiB are allowed; allow 194 MiB or more, or export a smaller field", out.Failures[0].Reason)
}

// A volume of 512³ voxels of two bytes: n workers need n·(256 + 128 + sites) MiB.
func TestNeedOfALargeVolume(t *testing.T) {
	require.EqualValues(t, (256+128+10)<<20, need(512*512*512*2, 10))
}

func TestTwoRunsOfOneStudyShareTheWork(t *testing.T) {
	m, dir := manifestOf(t, 6), t.TempDir()
	var n atomic.Int64
	slow := func(ctx context.Context, j Job) error {
		n.Add(1)
		return doCase(ctx, j)
	}
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			_, err := Run(context.Background(), m, dir, Options{Do: slow, Tool: "t", Jobs: 2})
			if err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	require.EqualValues(t, 6, n.Load(), "each reading once")
	alone := t.TempDir()
	_, err := Run(context.Background(), m, alone, Options{Do: doCase, Tool: "t"})
	require.NoError(t, err)
	require.Equal(t, tables(t, alone), tables(t, dir))
}

func TestInterruptLeavesWholeFoldersOnly(t *testing.T) {
	m, dir := manifestOf(t, 6), t.TempDir()
	ctx, stop := context.WithCancel(context.Background())
	var n atomic.Int64
	out, err := Run(ctx, m, dir, Options{Tool: "t", Do: func(ctx context.Context, j Job) error {
		if n.Add(1) == 3 {
			stop()
			return ctx.Err()
		}
		return doCase(ctx, j)
	}})
	require.ErrorIs(t, err, context.Canceled)
	require.Equal(t, Outcome{Entries: 6, Done: 2}, out)
	entries, err := os.ReadDir(filepath.Join(dir, "cases"))
	require.NoError(t, err)
	require.Len(t, entries, 2, "nothing hidden, nothing in part")
	merged, err := Merge(dir, MergeOptions{})
	require.NoError(t, err)
	require.Equal(t, Merged{Entries: 6, Measured: 2, Waiting: 4, Tools: []string{"t"}}, merged)
}

func TestInputsThatChangeMeanwhileAreNotMeasuredByHalf(t *testing.T) {
	home, dir := t.TempDir(), t.TempDir()
	plan := filepath.Join(home, "plan.yaml")
	require.NoError(t, os.WriteFile(plan, []byte(planText(0)), 0o600))
	m, err := ReadManifest("m.csv", []byte("case,series,plan\na,"+fixture+"/scan,plan.yaml\n"), home)
	require.NoError(t, err)
	out, err := Run(context.Background(), m, dir, Options{Tool: "t", Do: func(ctx context.Context, j Job) error {
		return errors.Join(doCase(ctx, j), os.WriteFile(plan, []byte(planText(1)), 0o600))
	}})
	require.NoError(t, err)
	require.Len(t, out.Failures, 1)
	require.Equal(t, "the plan or the series changed while it was measured; run again", out.Failures[0].Reason)
	require.NoDirExists(t, filepath.Join(dir, "cases", "a"))
}

// What a killed run leaves is in no later folder: a file half written, an outdated folder on its way
// out, the part of an entry that the manifest no longer has.
func TestRestsOfAKilledRunAreCleanedUp(t *testing.T) {
	m, dir := manifestOf(t, 2), t.TempDir()
	for _, name := range []string{".wall-0.A.1.part/measurements.csv", ".wall-0.A.1.part/sections/36.png", ".wall-0.B.1.gone/sites.csv", ".dropped.part/sites.csv"} {
		path := filepath.Join(dir, "cases", name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, []byte("half a"), 0o600))
	}
	_, err := Run(context.Background(), m, dir, Options{Do: doCase, Tool: "t"})
	require.NoError(t, err)
	var got []string
	require.NoError(t, filepath.WalkDir(filepath.Join(dir, "cases"), func(path string, d os.DirEntry, err error) error {
		rel, _ := filepath.Rel(dir, path)
		got = append(got, filepath.ToSlash(rel))
		return err
	}))
	require.Equal(t, []string{"cases",
		"cases/wall-0.A.1", "cases/wall-0.A.1/inputs.json", "cases/wall-0.A.1/measurements.csv", "cases/wall-0.A.1/result.json", "cases/wall-0.A.1/sites.csv",
		"cases/wall-0.B.1", "cases/wall-0.B.1/inputs.json", "cases/wall-0.B.1/measurements.csv", "cases/wall-0.B.1/result.json", "cases/wall-0.B.1/sites.csv"}, got)
}

func TestMergeRefusesWhatIsNoStudy(t *testing.T) {
	_, err := Merge(t.TempDir(), MergeOptions{})
	require.ErrorIs(t, err, ErrNoStudy)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "study.json"), []byte(`{"format":2,"entries":[{"case":"../../etc"}]}`), 0o600))
	_, err = Merge(dir, MergeOptions{})
	require.ErrorIs(t, err, ErrNoStudy)
}
