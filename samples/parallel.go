package samples

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// parallel calls f for 0 to n-1 on all processors.
func parallel(n int, f func(i int)) {
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		wait.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				f(i)
			}
		})
	}
	wait.Wait()
}
