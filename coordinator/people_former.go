package coordinator

import "slices"

// IDs are all that the person is known by: their own id, then those of who became
// one with them.
func (p *Person) IDs() []PersonID { return append([]PersonID{p.ID}, p.Former...) }

// Is reports whether the person has the id, or had it before they became one with
// somebody else.
func (p *Person) Is(id PersonID) bool { return p.ID == id || slices.Contains(p.Former, id) }

// Now is the person that an id stands for today: who has it, or with whom its owner
// became one. Of who is gone it knows the id alone, and ok is false.
func (p *People) Now(id PersonID) (person Person, ok bool) {
	if person, ok = p.Persons[id]; ok {
		return person, true
	}
	for _, person := range p.Persons {
		if slices.Contains(person.Former, id) {
			return person, true
		}
	}
	return Person{ID: id}, false
}

// formerOf are the ids that two people who become one had, but for the one that
// stays; sorted, so that it makes no difference who became one first. Each once: who
// has no phone joins by the same id again.
func formerOf(into, from Person) []PersonID {
	return slices.Compact(slices.Sorted(slices.Values(slices.Concat(into.Former, from.IDs()))))
}

// ToldTo is what was decided about the person, by the id that they have or else by
// one that they had; nil: nothing was.
func (d *Delivery) ToldTo(p *Person) *Told {
	for _, id := range p.IDs() {
		if i := slices.IndexFunc(d.Told, func(t Told) bool { return t.Person == id }); i >= 0 {
			return &d.Told[i]
		}
	}
	return nil
}
