package coordinator

import (
	"slices"
	"time"
)

// TableLoad is a load that somebody else took out and put on the table.
type TableLoad struct {
	Load    LoadID
	Machine MachineID
	// Owner is empty for a load that nobody claimed.
	Owner PersonID `json:",omitempty"`
	Home  HomeID   `json:",omitempty"`
	// At is when it was put there.
	At time.Time
	// Forgotten: it has been there for a day, and the managers were told.
	Forgotten bool `json:",omitempty"`
}

// Of reports whether the load belongs to a person or their home.
func (l *TableLoad) Of(person PersonID, home HomeID) bool {
	return l.Owner != "" && (l.Owner == person || home != "" && l.Home == home)
}

// tableHolds is how many loads a room remembers on its table; the oldest go first.
const tableHolds = 50

// onTable is the reason of a notice about a load on the table.
const onTable = "table"

// putOnTable notes that a load lies on the table.
func (r *Room) putOnTable(l *Load, now time.Time) {
	r.state.Table = append(r.state.Table, TableLoad{Load: l.ID, Machine: l.Machine, Owner: l.Owner, Home: l.Home, At: now})
	if over := len(r.state.Table) - tableHolds; over > 0 {
		r.state.Table = slices.Delete(r.state.Table, 0, over)
	}
	r.touch()
}

// offTable removes a load from the list, where it is on it.
func (r *Room) offTable(id LoadID) {
	r.state.Table = slices.DeleteFunc(r.state.Table, func(l TableLoad) bool { return l.Load == id })
	if len(r.state.Table) == 0 {
		r.state.Table = nil // as it is stored
	}
}

// fetched takes a load from the table.
func (r *Room) fetched(now time.Time, e Fetched) error {
	k := slices.IndexFunc(r.state.Table, func(l TableLoad) bool { return l.Load == e.Load })
	if k < 0 {
		return Refuse(NotFound, "table.gone", "That load is not on the table any more.")
	}
	l := r.state.Table[k]
	if !e.Manager && (e.Person == "" || l.Owner != "" && !l.Of(e.Person, e.Home)) {
		return Refuse(NotAllowed, "table.foreign", "That load belongs to somebody else.")
	}
	r.offTable(l.Load)
	r.reply.Load = l.Load
	r.withdraw(Subject{Load: l.Load})
	r.fact(Fact{Kind: FactFetched, Machine: l.Machine, Person: e.Person, Home: e.Home, Load: l.Load, Wait: now.Sub(l.At)})
	return nil
}

// forgetTable tells the managers, once, of each load that has been on the table for a day.
func (r *Room) forgetTable(now time.Time) {
	for k := range r.state.Table {
		l := &r.state.Table[k]
		if l.Forgotten || l.At.Add(forgottenAfter).After(now) {
			continue
		}
		l.Forgotten = true
		r.touch()
		r.fact(Fact{Kind: FactForgotten, Machine: l.Machine, Person: l.Owner, Home: l.Home, Load: l.Load, Wait: now.Sub(l.At), Note: byTable})
		if i := r.index(l.Machine); i >= 0 {
			r.tell(i, Notice{
				Subject: Subject{Load: l.Load}, Kind: LoadLeft, Step: r.again() * maxSteps * 1000, Role: Managers,
				ReadyAt: l.At, Reason: onTable, UsefulUntil: now.Add(24 * time.Hour),
			})
		}
	}
}
