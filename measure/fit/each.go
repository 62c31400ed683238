package fit

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Each calls f for 0 … n−1, in any order, on all processors.
func Each(n int, f func(i int)) {
	if n == 1 {
		f(0)
		return
	}
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				f(i)
			}
		})
	}
	wait.Wait()
}
