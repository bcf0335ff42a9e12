package room

import (
	"fmt"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Growth, its parts and its phase after days of late and repeated readings are
// those of the readings in order, to the last bit.
func TestLateReadingsGrowTheSame(t *testing.T) {
	inOrder := stretch("C01", noon, 62*time.Hour, 1, nil)
	tail := stretch("C01", noon.Add(62*time.Hour), 2*time.Hour, 2, nil)
	estimate := func(readings []ingest.Reading) string {
		room := New(options("C01"))
		room.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
		digest(room, readings, 77)
		digest(room, tail, 77)
		e := room.Views()[0].Estimate
		if !e.Growth.Known() || !e.InLight.Known() || !e.InDark.Known() {
			t.Errorf("after 64 h growth is not known: %+v", e)
		}
		return fmt.Sprintf("%+v", e)
	}
	if a, b := estimate(inOrder), estimate(shuffle(inOrder, 9)); a != b {
		t.Errorf("in order:\n%s\nout of order:\n%s", a, b)
	}
}
