package expect

import (
	"runtime"
	"sync"
)

// each calls f for 0 to n-1, as many at a time as there are cores. What f does
// for one must not hang on the others.
func each(n int, f func(i int)) {
	var group sync.WaitGroup
	turns := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i := range n {
		group.Go(func() {
			turns <- struct{}{}
			defer func() { <-turns }()
			f(i)
		})
	}
	group.Wait()
}
