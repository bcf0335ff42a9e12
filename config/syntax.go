package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// decoder collects what is wrong while a file is read.
type decoder struct {
	file     string
	dir      string
	faults   []Fault
	warnings []Fault
}

// at builds a fault at a place; places that YAML does not give become 1.
func (d *decoder) at(line, column int, format string, args ...any) Fault {
	return Fault{File: d.file, Line: max(line, 1), Column: max(column, 1), Message: fmt.Sprintf(format, args...)}
}

func (d *decoder) faultAt(line, column int, format string, args ...any) {
	d.faults = append(d.faults, d.at(line, column, format, args...))
}

func (d *decoder) fault(n *yaml.Node, format string, args ...any) {
	d.faultAt(n.Line, n.Column, format, args...)
}

func (d *decoder) warn(n *yaml.Node, format string, args ...any) {
	d.warnings = append(d.warnings, d.at(n.Line, n.Column, format, args...))
}

// syntax returns the mapping that the file is, or nil after faults.
func (d *decoder) syntax(data []byte) *yaml.Node {
	if len(data) > MaxFile {
		d.faultAt(1, 1, "the file is longer than %d bytes, too long for one room; is it another file?", MaxFile)
		return nil
	}
	if !d.plainText(data) {
		return nil
	}
	doc, next, err := documents(data)
	if err != nil {
		d.faults = append(d.faults, d.explain(data, err))
		return nil
	}
	if doc == nil || isNull(doc) {
		d.faultAt(1, 1, "the file is empty; a room needs at least room, broker and vessels")
		return nil
	}
	if next != nil {
		d.fault(next, "a second document begins here; a file describes one room and has one document")
		return nil
	}
	if !d.plainNodes(doc, map[string]bool{}) {
		return nil
	}
	return doc
}

// documents returns the first document of data and the second, each nil where
// there is none.
func documents(data []byte) (first, second *yaml.Node, err error) {
	// The YAML library ends some of its errors as panics; a file must never
	// bring the program down, whichever of them is missed.
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("yaml: %v", r)
		}
	}()
	in := yaml.NewDecoder(bytes.NewReader(data))
	var docs [2]*yaml.Node
	for i := range docs {
		var n yaml.Node
		if err := in.Decode(&n); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, nil, err
		}
		docs[i] = &n
		if n.Kind == yaml.DocumentNode && len(n.Content) == 1 {
			docs[i] = n.Content[0]
		}
	}
	return docs[0], docs[1], nil
}

// plainText checks that data is text, before YAML gets it: the library does
// not tell where such bytes stand.
func (d *decoder) plainText(data []byte) bool {
	line, column := 1, 1
	for rest := bytes.TrimPrefix(data, []byte("\ufeff")); len(rest) > 0; column++ {
		r, size := utf8.DecodeRune(rest)
		switch {
		case r == utf8.RuneError && size == 1:
			d.faultAt(line, column, "the byte %#02x is not UTF-8 text; save the file as UTF-8", rest[0])
			return false
		case r == '\n':
			line, column = line+1, 0
		case r < ' ' && r != '\t' && r != '\r', r >= 0x7f && r < 0xa0 && r != 0x85, r == 0xfffe, r == 0xffff:
			d.faultAt(line, column, "the character %U has no place in a text file", r)
			return false
		}
		rest = rest[size:]
	}
	return true
}

// plainNodes checks that a tree holds no aliases and no tags. Aliases are
// refused because a few lines of them can stand for more nodes than fit into
// memory; what vessels have in common goes under defaults.
// Each is told once, however often it is used.
func (d *decoder) plainNodes(n *yaml.Node, told map[string]bool) bool {
	if n.Kind == yaml.AliasNode {
		if told[n.Value] {
			return false
		}
		told[n.Value] = true
		d.fault(n, "the alias %s is not used here; write the value again, or put what vessels share under defaults", quoted("*"+n.Value))
		return false
	}
	ok := true
	if n.Style&yaml.TaggedStyle != 0 {
		d.fault(n, "the tag %s is not used here; write the plain value", quoted(n.Tag))
		ok = false
	}
	for _, child := range n.Content {
		ok = d.plainNodes(child, told) && ok
	}
	return ok
}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag == "!!null" || n.Kind == 0 }
