package config

import (
	"os"
	"slices"
)

// references reads which lots are held up as good.
func (b *block) references(c *Config) {
	for _, n := range b.items("reference_lots", 500) {
		name, ok := b.scalar(n, "a reference lot")
		switch {
		case !ok:
		case name == "" || len([]rune(name)) > 64:
			b.fault(n, "a reference lot is the name of a lot as the logbook has it, not %s", quoted(name))
		case slices.Contains(c.ReferenceLots, name):
			b.fault(n, "the reference lot %s is named twice", quoted(name))
		default:
			c.ReferenceLots = append(c.ReferenceLots, name)
		}
	}
	if !b.has("reference_runs") {
		return
	}
	b.text("reference_runs", &c.ReferenceRuns)
	if c.ReferenceRuns == "" {
		b.fault(b.place("reference_runs"), "reference_runs is empty; write the folder that holds the run folders, or leave the key out")
		return
	}
	c.ReferenceRuns = b.path(c.ReferenceRuns)
	if info, err := os.Stat(c.ReferenceRuns); err != nil || !info.IsDir() {
		b.fault(b.place("reference_runs"), "reference_runs: there is no folder %s", quoted(c.ReferenceRuns))
	}
}
