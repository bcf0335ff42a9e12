package backtest

import "runtime"

// turns lets as many work at a time as there are cores.
type turns chan struct{}

func newTurns() turns { return make(turns, runtime.GOMAXPROCS(0)) }

func (t turns) take() { t <- struct{}{} }
func (t turns) give() { <-t }
