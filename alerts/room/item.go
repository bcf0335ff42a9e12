package room

import (
	"cmp"
	"strings"

	"github.com/nightshelf/nightshelf/ingest"
)

// item is one reading or entry in its place in time.
type item struct {
	At       int64 // Unix ms
	Quantity ingest.Quantity
	Value    float64
	Entry    *ingest.Entry // nil for a reading
	ID       string        // of the entry
}

func readingItem(r ingest.Reading) item {
	return item{At: r.At.UnixMilli(), Quantity: r.Quantity, Value: r.Value}
}

func entryItem(e ingest.Entry) item {
	return item{At: e.At.UnixMilli(), Entry: &e, ID: e.ID()}
}

// compare orders items by time, entries before readings, so that a reading at
// the minute of an entry is one after it. Two that compare equal are the same
// thing brought twice: of a reading that comes with two values, the first
// counts, as in the store.
func (it item) compare(o item) int {
	return cmp.Or(cmp.Compare(it.At, o.At), cmp.Compare(it.Quantity, o.Quantity), strings.Compare(it.ID, o.ID))
}
