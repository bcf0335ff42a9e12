package daemon

import (
	"errors"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// What the store cannot keep is not said to be kept.
func TestWhatCannotBeKeptIsRefused(t *testing.T) {
	e := ingest.Entry{Vessel: "C01", Kind: ingest.Remark, At: time.Date(1600, 1, 1, 0, 0, 0, 0, time.UTC),
		Fields: map[string]ingest.Value{"remark": ingest.Text("x")}}
	d := start(t, load(t, plainRoom))
	_, _, live := d.book.Write(t.Context(), e, "")
	_, _, alone := WriteOffline(t.Context(), load(t, plainRoom), e, "", time.Now())
	for _, err := range []error{live, alone} {
		var f *logbook.Fault
		if !errors.As(err, &f) || f.Says == "" {
			t.Errorf("an entry of the year 1600: %v", err)
		}
	}
}
