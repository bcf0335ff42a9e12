package store_test

import (
	"path/filepath"
	"testing"

	"github.com/nightshelf/nightshelf/ingest/store"
	"github.com/nightshelf/nightshelf/ingest/store/storetest"
)

var _ storetest.Store = (*store.Store)(nil)

func TestConformance(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Opener {
		path := filepath.Join(t.TempDir(), "room.db")
		return func() (storetest.Store, error) { return store.Open(t.Context(), path) }
	})
}
