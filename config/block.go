package config

import (
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// pair is one key of a mapping with its value.
type pair struct{ key, value *yaml.Node }

// pairs returns the keys of the mapping n in order. What names n in messages.
func (d *decoder) pairs(n *yaml.Node, what string) []pair {
	if n.Kind != yaml.MappingNode {
		d.fault(n, "%s must be a block of keys with values, not %s", what, shown(n))
		return nil
	}
	var out []pair
	first := map[string]*yaml.Node{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		if key.Kind != yaml.ScalarNode {
			d.fault(key, "a key of %s must be a word, not %s", what, shown(key))
			continue
		}
		if before := first[key.Value]; before != nil {
			d.fault(key, "%s is given twice in %s; the first is in line %d", quoted(key.Value), what, before.Line)
			continue
		}
		first[key.Value] = key
		out = append(out, pair{key, value})
	}
	return out
}

// block is a mapping of which every key must be known. A key whose value is
// empty counts as not given.
type block struct {
	*decoder
	node  *yaml.Node
	what  string
	given []pair
	known []string
}

// block opens the mapping n; close must follow once its keys were asked for.
func (d *decoder) block(n *yaml.Node, what string) *block {
	return &block{decoder: d, node: n, what: what, given: d.pairs(n, what)}
}

// find returns the pair of a key, zero if it was not written.
func (b *block) find(key string) pair {
	if !slices.Contains(b.known, key) {
		b.known = append(b.known, key)
	}
	for _, p := range b.given {
		if p.key.Value == key {
			return p
		}
	}
	return pair{}
}

// value returns the value of key, nil if it was not given.
func (b *block) value(key string) *yaml.Node {
	p := b.find(key)
	if p.value == nil || isNull(p.value) {
		return nil
	}
	return p.value
}

// has reports whether key was given.
func (b *block) has(key string) bool { return b.value(key) != nil }

// place returns where to complain about key: its value, else the key itself,
// else the block that lacks it.
func (b *block) place(key string) *yaml.Node {
	if v := b.value(key); v != nil {
		return v
	}
	if p := b.find(key); p.key != nil {
		return p.key
	}
	return b.node
}

// blank reports whether key was not given, or as an empty text.
func (b *block) blank(key string) bool {
	n := b.value(key)
	return n == nil || n.Kind == yaml.ScalarNode && strings.TrimSpace(n.Value) == ""
}

// missing says that a key that must be there is not. It keeps silent where
// the block is no block at all: that was said already.
func (b *block) missing(key, hint string) {
	if b.node.Kind == yaml.MappingNode {
		lack := "missing in " + b.what
		if b.has(key) {
			lack = "empty"
		}
		b.fault(b.place(key), "%s is %s; %s", key, lack, hint)
	}
}

// close refuses the keys that nobody asked for.
func (b *block) close() {
	for _, p := range b.given {
		if slices.Contains(b.known, p.key.Value) {
			continue
		}
		hint := meant(p.key.Value, b.known)
		if b.node.Style&yaml.FlowStyle != 0 && isNull(p.value) {
			hint = "put a value with commas in quotes"
		}
		b.fault(p.key, "%s has no key %s; %s", b.what, quoted(p.key.Value), hint)
	}
}

// list returns the items of the list n.
func (d *decoder) list(n *yaml.Node, what string) []*yaml.Node {
	if n.Kind != yaml.SequenceNode {
		d.fault(n, "%s must be a list, not %s", what, shown(n))
		return nil
	}
	return n.Content
}

// items returns the items of the list under key, nil if it was not given. No
// room needs more than most of them, and each is compared with the others.
func (b *block) items(key string, most int) []*yaml.Node {
	n := b.value(key)
	if n == nil {
		return nil
	}
	items := b.list(n, key)
	if len(items) > most {
		b.fault(items[most], "%s has %d items, the first too many here; at most %d are read", key, len(items), most)
		return items[:most]
	}
	return items
}

// scalar returns the text of n, which must be one plain value.
func (d *decoder) scalar(n *yaml.Node, what string) (string, bool) {
	if n.Kind != yaml.ScalarNode || isNull(n) {
		d.fault(n, "%s must be one value, not %s", what, shown(n))
		return "", false
	}
	return n.Value, true
}

// shown names a node as the person who wrote it sees it.
func shown(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode && len(n.Content) == 0:
		return "an empty block"
	case n.Kind == yaml.MappingNode:
		return "a block that begins with " + quoted(firstWord(n))
	case n.Kind == yaml.SequenceNode && len(n.Content) == 0:
		return "an empty list"
	case n.Kind == yaml.SequenceNode:
		return "a list that begins with " + quoted(firstWord(n))
	case isNull(n):
		return "nothing"
	}
	return quoted(strings.TrimSpace(n.Value))
}

// firstWord returns the first plain value in n.
func firstWord(n *yaml.Node) string {
	for n.Kind != yaml.ScalarNode && len(n.Content) > 0 {
		n = n.Content[0]
	}
	return n.Value
}
