package config

import (
	"fmt"

	"drumturn/coordinator"
)

// rooms decodes [rules] and every [rooms.NAME].
func (b *builder) rooms(root *section) {
	house := root.table("rules")
	rules := b.rules(coordinator.DefaultRules(), house)
	known := b.judge(rules, nil, house)
	sections := root.named("rooms", "a room")
	if len(sections) == 0 && root.node.child("rooms").canBeEmpty() {
		root.wrong("rooms", "the building has no room", "add a section such as [rooms.cellar] with its machines")
	}
	for _, s := range sections {
		b.file.Rooms = append(b.file.Rooms, b.room(s, rules, known))
	}
}

// canBeEmpty reports whether a node has nothing in it that was reported already.
func (n *node) canBeEmpty() bool { return n == nil || n.shape == tableShape && len(n.keys) == 0 }

func (b *builder) room(s *section, house coordinator.Rules, known []coordinator.Problem) coordinator.Plan {
	plan := coordinator.Plan{ID: coordinator.RoomID(s.node.label), Name: s.node.label, Zone: b.file.Building.Zone}
	s.name("name", &plan.Name)
	own := s.table("rules")
	plan.Seed = b.rules(house, own)
	if own.node != nil {
		b.judge(plan.Seed, known, own)
	}
	machines := s.tables("machines")
	if len(machines) == 0 && s.node.child("machines").missingList() {
		s.wrong("machines", "the room has no machine", "add [["+s.node.path()+".machines]] with its number and kind")
	}
	seen := roomSeen{numbers: map[int]int{}, ids: map[string]int{}}
	for _, m := range machines {
		plan.Machines = append(plan.Machines, b.machine(m, seen))
	}
	s.close()
	return plan
}

// missingList reports whether a list is not there or has nothing in it.
func (n *node) missingList() bool { return n == nil || n.shape == listShape && len(n.list) == 0 }

// roomSeen holds the lines of the numbers and ids of a room's machines.
type roomSeen struct {
	numbers map[int]int
	ids     map[string]int
}

// once reports the second use of a number or id.
func once[K comparable](s *section, key, what string, value K, seen map[K]int) {
	line := lineOf(s, key)
	if first, twice := seen[value]; twice {
		s.wrong(key, fmt.Sprintf("the machine of line %d has this %s already", first, what), "give every machine of a room its own")
		return
	}
	seen[value] = line
}

// lineOf is the line of a setting, or of the section where it is not set.
func lineOf(s *section, key string) int {
	if n := s.node.child(key); n != nil {
		return n.line
	}
	return s.node.line
}
