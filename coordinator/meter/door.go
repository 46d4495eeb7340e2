package meter

import (
	"encoding/json"
	"fmt"
	"strings"
)

// Door is the state of a machine's door.
type Door uint8

// The states.
const (
	NoDoor Door = iota // nothing is said of it
	DoorShut
	DoorOpen
)

// doorWords are the ways in which contacts put it.
var doorWords = map[string]Door{
	"true": DoorOpen, "open": DoorOpen, "opened": DoorOpen, "on": DoorOpen, "1": DoorOpen,
	"false": DoorShut, "shut": DoorShut, "closed": DoorShut, "off": DoorShut, "0": DoorShut,
}

// doorAt reads the door's state at p; NoDoor when nothing, or null, is there.
func doorAt(p Pointer, doc any) (Door, error) {
	node, ok := p.In(doc)
	if !ok || node == nil {
		return NoDoor, nil
	}
	text := ""
	switch node := node.(type) {
	case bool:
		text = fmt.Sprint(node)
	case json.Number:
		text = node.String()
	case string:
		text = strings.ToLower(strings.TrimSpace(node))
	}
	if d := doorWords[text]; d != NoDoor {
		return d, nil
	}
	return NoDoor, fmt.Errorf(`at %q: it must be true or 1 or "open" for an open door, false or 0 or "closed" for a shut one`, p.text)
}
