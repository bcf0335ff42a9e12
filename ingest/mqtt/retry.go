package mqtt

import (
	"math/rand/v2"
	"time"

	"github.com/cenkalti/backoff/v5"
)

// fullJitter waits a random time between nothing and a bound that doubles
// from first to longest, so that many clients of one failed thing spread out.
type fullJitter struct{ bound *backoff.ExponentialBackOff }

var _ backoff.BackOff = fullJitter{}

func newFullJitter(first, longest time.Duration) fullJitter {
	b := &backoff.ExponentialBackOff{InitialInterval: first, Multiplier: 2, MaxInterval: longest}
	b.Reset()
	return fullJitter{bound: b}
}

// NextBackOff returns the next wait.
func (j fullJitter) NextBackOff() time.Duration { return randomUpTo(j.bound.NextBackOff()) }

// Reset starts again from the first bound.
func (j fullJitter) Reset() { j.bound.Reset() }

func randomUpTo(d time.Duration) time.Duration {
	if d <= 0 {
		return 0
	}
	return rand.N(d + 1)
}
