package config

import "fmt"

// table reads a section within this one; it is empty when the file does not have it.
func (s *section) table(key string) *section {
	n := s.take(key)
	if n != nil && n.shape != tableShape {
		s.in.tell(n, Mistake, "this is "+n.shape.String()+", but a section is wanted", "write a header such as ["+n.path()+"] and its settings below it")
		n = nil
	}
	return &section{in: s.in, node: n}
}

// tables reads the sections of a list, in their order.
func (s *section) tables(key string) []*section {
	n := s.take(key)
	if n == nil {
		return nil
	}
	right := "write [[" + n.path() + "]] above the settings of each"
	if n.shape != listShape {
		s.in.tell(n, Mistake, "this is "+n.shape.String()+", but a list of sections is wanted", right)
		return nil
	}
	var out []*section
	for _, item := range n.list {
		if item.shape != tableShape {
			s.in.tell(item, Mistake, "this is "+item.shape.String()+", but a section is wanted", right)
			continue
		}
		out = append(out, &section{in: s.in, node: item})
	}
	return out
}

// named reads the sections that the file's author names: [rooms.cellar]. What
// names can be is said by what.
func (s *section) named(key, what string) []*section {
	if n := s.take(key); n != nil && n.shape == listShape {
		s.in.tell(n, Mistake, what+" has no name here", "give each a name, in single square brackets: ["+n.path()+".NAME]")
		return nil
	}
	parent := s.table(key)
	if parent.node == nil {
		return nil
	}
	var out []*section
	for _, name := range parent.node.order {
		child := parent.table(name)
		if child.node == nil {
			continue
		}
		child.checkName(name, what)
		out = append(out, child)
	}
	return out
}

// maxName is the longest name of a room, meter or machine in the file.
const maxName = 40

const nameAdvice = "use only letters (a to z), digits, - and _, at most 40 of them"

// checkName wants a name that can stand in addresses and keys.
func (s *section) checkName(name, what string) {
	if why := badName(name); why != "" {
		s.in.tell(s.node, Mistake, fmt.Sprintf("%q cannot name %s: %s", name, what, why),
			nameAdvice)
	}
}

// badName says why a name cannot stand in addresses and keys; empty when it can.
func badName(name string) string {
	switch {
	case name == "":
		return "it is empty"
	case len(name) > maxName:
		return "it is too long"
	case !isBare(name):
		return "it has a space, a slash or another sign that has a meaning in addresses"
	}
	return ""
}
