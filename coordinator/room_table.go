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

// tableFor is how long a load stays on the list: most people say nothing when they
// take theirs, and what lay there for a week is gone or nobody's (common practice,
// no source).
const tableFor = 7 * 24 * time.Hour

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

// fetched takes a load from the table, or all that were forgotten there.
func (r *Room) fetched(now time.Time, e Fetched) error {
	if e.Manager && e.Forgotten {
		return r.clearedTable(now, e)
	}
	k := slices.IndexFunc(r.state.Table, func(l TableLoad) bool { return l.Load == e.Load })
	if k < 0 {
		return Refuse(NotFound, "table.gone", "That load is not on the table any more.")
	}
	l := r.state.Table[k]
	if !e.Manager && (e.Person == "" || l.Owner != "" && !l.Of(e.Person, e.Home)) {
		return Refuse(NotAllowed, "table.foreign", "That load belongs to somebody else.")
	}
	r.reply.Load = l.Load
	r.gone(now, l, Fact{Person: e.Person, Home: e.Home})
	return nil
}

// clearedTable takes away every load that was forgotten on the table.
func (r *Room) clearedTable(now time.Time, e Fetched) error {
	any := false
	for _, l := range slices.Clone(r.state.Table) {
		if l.Forgotten {
			any = true
			r.gone(now, l, Fact{Person: e.Person})
		}
	}
	if !any {
		return Refuse(NotFound, "table.gone", "That load is not on the table any more.")
	}
	return nil
}

// gone takes a load off the list: f says who said so.
func (r *Room) gone(now time.Time, l TableLoad, f Fact) {
	r.offTable(l.Load)
	r.withdraw(Subject{Load: l.Load})
	f.Kind, f.Machine, f.Load, f.Wait = FactFetched, l.Machine, l.Load, now.Sub(l.At)
	r.fact(f)
}

// forgetTable tells the managers, once, of each load that has been on the table for
// a day, and takes those for gone that have been there for a week.
func (r *Room) forgetTable(now time.Time) {
	for _, l := range slices.Clone(r.state.Table) {
		if !l.At.Add(tableFor).After(now) {
			r.gone(now, l, Fact{Note: byNobody})
		}
	}
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
