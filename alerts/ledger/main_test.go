package ledger

import (
	"flag"
	"testing"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	// Each check opens files many times; -rapid.checks asks for more.
	if err := flag.Set("rapid.checks", "40"); err != nil {
		panic(err)
	}
	goleak.VerifyTestMain(m)
}
