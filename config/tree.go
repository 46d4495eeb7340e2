package config

import (
	"fmt"
	"strconv"
	"strings"
)

// shape is what a node of the file is.
type shape uint8

const (
	tableShape shape = iota
	listShape
	textShape
	wholeShape  // an integer
	numberShape // a number with a point or an exponent
	truthShape  // true or false
	momentShape // an unquoted date or time
	brokenShape // a value that cannot be read: reported once, not looked at again
)

var shapeNames = [...]string{
	tableShape: "a section", listShape: "a list", textShape: "a text", wholeShape: "a number",
	numberShape: "a number", truthShape: "true or false", momentShape: "a date or time without quotes",
	brokenShape: "unreadable",
}

func (s shape) String() string { return shapeNames[s] }

// node is one value of the file with its place.
type node struct {
	shape  shape
	parent *node
	// label is the key within a table; index counts from 1 within a list.
	label string
	index int
	line  int
	// text is a text's content, or any other scalar as it is written.
	text string
	list []*node
	keys map[string]*node
	// order is that of the keys in the file.
	order []string
	// header: opened by a [header] of its own. dotted: made by a dotted key, so
	// that no header may open it. closed: written in one piece (inline), so that
	// nothing may be added.
	header, dotted, closed bool
}

// elements are those of a list; none of anything else.
func (n *node) elements() []*node {
	if n == nil {
		return nil
	}
	return n.list
}

func (n *node) child(key string) *node {
	if n == nil {
		return nil
	}
	return n.keys[key]
}

// put adds a child under a key that is not taken.
func (n *node) put(key string, child *node) *node {
	if n.keys == nil {
		n.keys = map[string]*node{}
	}
	child.parent, child.label = n, key
	n.keys[key] = child
	n.order = append(n.order, key)
	return child
}

// push adds an element to a list.
func (n *node) push(child *node) *node {
	n.list = append(n.list, child)
	child.parent, child.index = n, len(n.list)
	return child
}

// path is the full name of the node: rooms.cellar.machines[2].meter.
func (n *node) path() string {
	var parts []string
	for at := n; at != nil && at.parent != nil; at = at.parent {
		switch {
		case at.index > 0:
			parts = append(parts, fmt.Sprintf("[%d]", at.index))
		default:
			parts = append(parts, "."+bareOrQuoted(at.label))
		}
	}
	var b strings.Builder
	for i := len(parts) - 1; i >= 0; i-- {
		b.WriteString(parts[i])
	}
	return strings.TrimPrefix(b.String(), ".")
}

// bareOrQuoted writes a key as TOML would.
func bareOrQuoted(key string) string {
	if isBare(key) {
		return key
	}
	return strconv.Quote(key)
}

// isBare reports whether a key may stand without quotes.
func isBare(key string) bool {
	return key != "" && strings.IndexFunc(key, func(r rune) bool { return !isBareRune(r) }) < 0
}

func isBareRune(r rune) bool {
	return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_'
}
