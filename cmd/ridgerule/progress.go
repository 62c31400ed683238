package main

import (
	"time"

	"github.com/schollz/progressbar/v3"
)

// progress returns a function to call as work proceeds, and one to call at its end. Without a
// terminal, or with --quiet or --no-progress, both do nothing.
func (a *app) progress(what string) (step func(done, total int), end func()) {
	if a.quiet || a.noProgress || !terminal(a.stderr) {
		return func(int, int) {}, func() {}
	}
	bar := progressbar.NewOptions(-1,
		progressbar.OptionSetWriter(a.stderr),
		progressbar.OptionSetDescription(what),
		progressbar.OptionSetWidth(30),
		progressbar.OptionThrottle(100*time.Millisecond),
		progressbar.OptionClearOnFinish())
	step = func(done, total int) {
		if bar.GetMax() != total {
			bar.ChangeMax(total)
		}
		_ = bar.Set(done)
	}
	return step, func() { _ = bar.Finish() }
}

// studyProgress is progress for work of hours: where there is no terminal to draw on, as in the log of a night's
// run, it prints a line once in a while. Both do nothing with --quiet or --no-progress.
func (a *app) studyProgress(what string) (step func(done, total int), end func()) {
	if a.quiet || a.noProgress || terminal(a.stderr) {
		return a.progress(what)
	}
	l := progressLines{what: what, say: a.say, now: a.now, began: a.now(), tenth: 1}
	return l.step, func() {}
}

// A line is due when another tenth is done or a minute has gone by since the last; none in the first seconds,
// for what is over in them needs none.
const (
	firstLine = 5 * time.Second
	otherwise = time.Minute
)

type progressLines struct {
	what        string
	say         func(format string, args ...any)
	now         func() time.Time
	began, last time.Time
	tenth       int // that is to be said next
}

func (l *progressLines) step(done, total int) {
	now := l.now()
	gone := now.Sub(l.began)
	if gone < firstLine || done == 0 || total == 0 {
		return
	}
	if tenth := 10 * done / total; tenth >= l.tenth || now.Sub(l.last) >= otherwise {
		left := time.Duration(float64(gone) * float64(total-done) / float64(done))
		l.say("%s %d of %d; %s gone, about %s left", l.what, done, total, gone.Round(time.Second), left.Round(time.Second))
		l.last, l.tenth = now, tenth+1
	}
}
