package config

import (
	"fmt"

	"github.com/pelletier/go-toml/v2/unstable"
)

// header opens the table of a [header]; nil when it cannot be one.
func (r *reader) header(keys []string, line int) *node {
	up := r.descend(r.root, keys[:len(keys)-1], line)
	if up == nil {
		return nil
	}
	key := keys[len(keys)-1]
	old := up.child(key)
	switch {
	case old == nil:
		return up.put(key, &node{line: line, header: true})
	case old.shape != tableShape || old.closed || old.dotted:
		r.clash(old, line)
		return nil
	case old.header:
		r.say(old, line, fmt.Sprintf("this section is there twice; it began in line %d", old.line),
			"give one of them another name, or move its settings into the first and remove this one")
	}
	old.header = true
	return old
}

// listHeader opens a new element of the list of a [[header]].
func (r *reader) listHeader(keys []string, line int) *node {
	up := r.descend(r.root, keys[:len(keys)-1], line)
	if up == nil {
		return nil
	}
	key := keys[len(keys)-1]
	list := up.child(key)
	switch {
	case list == nil:
		list = up.put(key, &node{shape: listShape, line: line})
	case list.shape != listShape || list.closed:
		r.clash(list, line)
		return nil
	}
	return list.push(&node{line: line, header: true})
}

// descend walks into tables, making those that are not there; in a list it
// takes the newest element. It returns nil, and says why, where there is no way.
func (r *reader) descend(from *node, keys []string, line int) *node {
	at := from
	for _, key := range keys {
		next := at.child(key)
		if next == nil {
			next = at.put(key, &node{line: line})
		}
		if next.shape == listShape && len(next.list) > 0 && !next.closed {
			next = next.list[len(next.list)-1]
		}
		if next.shape != tableShape || next.closed {
			r.clash(next, line)
			return nil
		}
		at = next
	}
	return at
}

// descendDotted walks into the tables of a dotted key, making those that are not
// there. It may enter only tables that dotted keys have made.
func (r *reader) descendDotted(from *node, keys []string, line int) *node {
	at := from
	for _, key := range keys {
		next := at.child(key)
		if next == nil {
			next = at.put(key, &node{line: line, dotted: true})
		}
		if next.shape != tableShape || next.closed || !next.dotted {
			r.clash(next, line)
			return nil
		}
		at = next
	}
	return at
}

// clash reports a key that is already something else.
func (r *reader) clash(old *node, line int) {
	if old.shape == brokenShape {
		return
	}
	r.say(old, line, fmt.Sprintf("line %d has made this %s already, and nothing can be added to it", old.line, old.shape),
		"keep one of the two, or give one of them another name")
}

// setting puts key = value into a table.
func (r *reader) setting(table *node, keys []string, line int, value *unstable.Node) {
	up := r.descendDotted(table, keys[:len(keys)-1], line)
	if up == nil {
		return
	}
	key := keys[len(keys)-1]
	if old := up.child(key); old != nil {
		if old.shape != brokenShape {
			r.say(old, line, fmt.Sprintf("this is set a second time; it was set in line %d", old.line), "keep one of the two")
		}
		return
	}
	r.value(up.put(key, &node{line: line}), value)
}

// value fills n from the parser's node.
func (r *reader) value(n *node, v *unstable.Node) {
	n.closed = true
	n.text = string(v.Data)
	switch v.Kind {
	case unstable.String:
		n.shape = textShape
	case unstable.Integer:
		n.shape = wholeShape
	case unstable.Float:
		n.shape = numberShape
	case unstable.Bool:
		n.shape = truthShape
	case unstable.Array:
		n.shape = listShape
		for it := v.Children(); it.Next(); {
			r.value(n.push(&node{line: r.lineOf(it.Node(), n.line)}), it.Node())
		}
	case unstable.InlineTable:
		r.inline(n, v)
	default:
		n.shape = momentShape
	}
}

// inline fills n from { key = value, … }.
func (r *reader) inline(n *node, v *unstable.Node) {
	n.closed = false // while it is being filled
	for it := v.Children(); it.Next(); {
		keys, first, _ := r.keyOf(it.Node())
		r.setting(n, keys, r.lines.at(first), it.Node().Value())
	}
	n.closed = true
}

// lineOf is the line of a value; known is used where the parser does not say.
func (r *reader) lineOf(v *unstable.Node, known int) int {
	if v.Raw.Length == 0 {
		return known
	}
	return r.lines.at(r.base + int(v.Raw.Offset))
}
