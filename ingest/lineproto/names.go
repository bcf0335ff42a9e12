package lineproto

import (
	"sync"

	"github.com/nightshelf/nightshelf/ingest"
)

// maxNames is how many names are remembered: more than any room has vessels.
const maxNames = 4096

// names keeps one copy of each vessel name that has been seen, so that a steady
// stream of readings makes no new ones.
type names struct {
	mu   sync.Mutex
	seen map[string]string // guarded by mu
}

// name returns b as a string.
func (n *names) name(b []byte) string {
	n.mu.Lock()
	defer n.mu.Unlock()
	if s, ok := n.seen[string(b)]; ok {
		return s
	}
	s := string(b)
	if len(n.seen) < maxNames && len(b) <= ingest.MaxVesselName {
		if n.seen == nil {
			n.seen = map[string]string{}
		}
		n.seen[s] = s
	}
	return s
}
