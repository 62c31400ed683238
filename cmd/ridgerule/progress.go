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
