package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"

	"github.com/mattn/go-isatty"

	"github.com/nightshelf/nightshelf/analysis/growth"
)

// fittedCurve is a curve with what came of it.
type fittedCurve struct {
	namedCurve
	growth.Verdict
}

// fitAll fits the curves, so many at a time, and returns them in their order.
// done is called after each, never twice at once.
func fitAll(ctx context.Context, curves []namedCurve, s growth.Setting, workers int, done func(n int)) ([]fittedCurve, error) {
	out := make([]fittedCurve, len(curves))
	var next atomic.Int64
	var finished int
	var mu sync.Mutex
	var wg sync.WaitGroup
	for range min(workers, len(curves)) {
		wg.Go(func() {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= len(curves) {
					return
				}
				out[i] = fittedCurve{curves[i], growth.Choose(curves[i].Curve, s)}
				mu.Lock()
				finished++
				done(finished)
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("fit the curves: %w", err)
	}
	return out, nil
}

// progress counts on a terminal, and is silent elsewhere.
func progress(errs io.Writer, all int) func(n int) {
	f, ok := errs.(*os.File)
	if !ok || !isatty.IsTerminal(f.Fd()) {
		return func(int) {}
	}
	return func(n int) {
		_, _ = fmt.Fprintf(errs, "\r%d of %d curves", n, all)
		if n == all {
			_, _ = fmt.Fprintln(errs)
		}
	}
}
