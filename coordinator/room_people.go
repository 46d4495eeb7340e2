package coordinator

import (
	"slices"
	"time"

	"drumturn/queue"
)

// who tells whether something is of those whom an event is about: a person, or
// a whole home where no person is named.
func who(person PersonID, home HomeID) func(PersonID, HomeID) bool {
	return func(p PersonID, h HomeID) bool {
		if person != "" {
			return p == person
		}
		return home != "" && h == home
	}
}

// movedOut ends what is theirs.
func (r *Room) movedOut(e MovedOut, now time.Time) error {
	theirs := who(e.Person, e.Home)
	for i := len(r.state.Turns) - 1; i >= 0; i-- {
		t := r.state.Turns[i]
		if !theirs(t.Person, t.Home) || e.TurnsOnly && t.State == queue.Started {
			continue
		}
		r.dropHold(t.ID)
		r.removeTurn(i)
		r.withdraw(Subject{Turn: t.ID})
		left := Fact{Kind: FactLeft, Turn: t.ID, Note: "moved out"} // names nobody who lives here no more
		if e.TurnsOnly {
			left = Fact{Kind: FactLeft, Person: t.Person, Home: t.Home, Turn: t.ID, Note: "blocked"}
		}
		r.fact(left)
	}
	for i := range r.state.Machines {
		if m := &r.state.Machines[i]; m.Lapsed != nil && theirs(m.Lapsed.Turn.Person, m.Lapsed.Turn.Home) {
			m.Lapsed = nil
		}
	}
	if !e.TurnsOnly {
		r.leaveLoads(theirs)
	}
	if e.Person == "" && !e.TurnsOnly {
		r.endLongerHold(e.Home, now)
	}
	r.touch()
	return nil
}

// leaveLoads makes loads nobody's.
func (r *Room) leaveLoads(theirs func(PersonID, HomeID) bool) {
	for i := range r.state.Machines {
		m := &r.state.Machines[i]
		if m.Emptied == nil {
			continue
		}
		if m.Emptied.unshare(theirs); theirs(m.Emptied.Owner, m.Emptied.Home) {
			m.Emptied, m.EmptiedTurn = nil, nil
		}
	}
	for i := range r.state.Table {
		if l := &r.state.Table[i]; l.Owner != "" && theirs(l.Owner, l.Home) {
			l.Owner, l.Home = "", ""
		}
	}
	for i := range r.state.Loads {
		r.state.Loads[i].unshare(theirs)
		if l := &r.state.Loads[i]; l.Owner != "" && theirs(l.Owner, l.Home) {
			l.Owner, l.Home, l.Turn, l.ShareHash = "", "", 0, ""
			r.withdraw(Subject{Load: l.ID})
		}
	}
}

// heir gives what is of those who became one with others to these.
type heir struct {
	theirs func(PersonID, HomeID) bool
	into   PersonID // empty: persons stay who they are
	home   HomeID
	moved  bool
}

// take changes an owner.
func (h *heir) take(person *PersonID, home *HomeID) {
	if *person == "" && *home == "" || !h.theirs(*person, *home) {
		return
	}
	h.moved = true
	*home = h.home
	if h.into != "" {
		*person = h.into
	}
}

// merged gives turns and loads to another person or home. Told twice it changes nothing.
func (r *Room) merged(e Merged, now time.Time) error {
	if e.IntoHome == "" || (e.Person == "") != (e.Into == "") || e.Person == "" && e.Home == "" {
		return Refuse(Invalid, "merge.same", "These are one already. Choose two.")
	}
	h := &heir{theirs: who(e.Person, e.Home), into: e.Into, home: e.IntoHome}
	for i := range r.state.Turns {
		t := &r.state.Turns[i]
		h.take(&t.Person, &t.Home)
	}
	for i := range r.state.Table {
		l := &r.state.Table[i]
		h.take(&l.Owner, &l.Home)
	}
	for i := range r.state.Loads {
		h.load(&r.state.Loads[i])
	}
	for i := range r.state.Machines {
		h.machine(&r.state.Machines[i])
	}
	if e.Person == "" {
		r.mergeLongerHold(e.Home, e.IntoHome, now)
	}
	if h.moved {
		r.touch()
	}
	return nil
}

// load gives a load, and a share in it. Snapshots share the old list of sharers.
func (h *heir) load(l *Load) {
	h.take(&l.Owner, &l.Home)
	if len(l.Shared) == 0 {
		return
	}
	l.Shared = slices.Clone(l.Shared)
	for i := range l.Shared {
		h.take(&l.Shared[i].Person, &l.Shared[i].Home)
	}
	l.unshare(func(p PersonID, home HomeID) bool { return p == l.Owner || home != "" && home == l.Home })
}

// machine gives what a machine remembers of somebody. What it points to may be shared.
func (h *heir) machine(m *machineState) {
	// Two reports of homes that are one are those of one home.
	for k, f := range m.Faults {
		if h.into == "" && h.theirs("", f.Home) {
			m.Faults = slices.Clone(m.Faults)
			m.Faults[k].Home, h.moved = h.home, true
		}
	}
	if m.Lapsed != nil {
		lapsed := *m.Lapsed
		h.take(&lapsed.Turn.Person, &lapsed.Turn.Home)
		m.Lapsed = &lapsed
	}
	if m.Emptied != nil {
		load := *m.Emptied
		h.load(&load)
		m.Emptied = &load
	}
	if m.EmptiedTurn != nil {
		turn := *m.EmptiedTurn
		h.take(&turn.Person, &turn.Home)
		m.EmptiedTurn = &turn
	}
}

// mergeLongerHold keeps machines longer for a home that one became part of for
// which they were.
func (r *Room) mergeLongerHold(from, into HomeID, now time.Time) {
	homes := r.state.Rules.LongerHoldHomes
	if !slices.Contains(homes, from) {
		return
	}
	homes = slices.DeleteFunc(slices.Clone(homes), func(h HomeID) bool { return h == from || h == into })
	r.setLongerHolds(append(homes, into), Fact{Home: into, Note: "longer hold"}, now)
}

// endLongerHold is for a home that moved out: whoever moves in is asked again whether
// they need more time.
func (r *Room) endLongerHold(home HomeID, now time.Time) {
	homes := r.state.Rules.LongerHoldHomes
	if !slices.Contains(homes, home) {
		return
	}
	homes = slices.DeleteFunc(slices.Clone(homes), func(h HomeID) bool { return h == home })
	r.setLongerHolds(homes, Fact{Home: home, Note: "usual hold"}, now)
}

// openHomes changes whether residents name their home themselves.
func (r *Room) openHomes(e OpenHomes, now time.Time) error {
	if r.state.Rules.OpenHomes == e.On {
		return nil
	}
	r.keepFirst(now)
	r.state.Rules.OpenHomes = e.On
	note := "homes have codes"
	if e.On {
		note = "homes are open"
	}
	r.state.RulesVersion++
	r.newRules(Fact{Person: e.Person, Note: note}, now)
	return nil
}
