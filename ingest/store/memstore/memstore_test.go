package memstore_test

import (
	"testing"

	"github.com/nightshelf/nightshelf/ingest/store/memstore"
	"github.com/nightshelf/nightshelf/ingest/store/storetest"
)

var _ storetest.Store = (*memstore.Store)(nil)

func TestConformance(t *testing.T) {
	storetest.Run(t, func(*testing.T) storetest.Opener {
		disk := new(memstore.Disk)
		return func() (storetest.Store, error) { return memstore.Open(disk) }
	})
}
