package coordinator

import (
	"fmt"
	"slices"
	"time"

	"pgregory.net/rapid"
)

// shelf is what somebody would remember who hears of every event: who has laundry in
// whose load, and what lies on the table. It is told of what was committed only.
type shelf struct {
	shared map[LoadID][]Sharer
	table  []LoadID
}

func newShelf() shelf { return shelf{shared: map[LoadID][]Sharer{}} }

// wrote takes down a fact.
func (s *shelf) wrote(f Fact) {
	switch f.Kind {
	case FactShared:
		// A neighbour's flatmate has a share in it already.
		if !slices.ContainsFunc(s.shared[f.Load], func(x Sharer) bool { return x.Person == f.Person || x.Home == f.Home }) {
			s.shared[f.Load] = append(slices.Clone(s.shared[f.Load]), Sharer{f.Person, f.Home})
		}
	case FactClaimed: // from an owner who moved out, perhaps
		s.drop(f.Load, func(x Sharer) bool { return x.Person == f.Person || x.Home == f.Home })
	case FactNotMine:
		delete(s.shared, f.Load)
	case FactCollected:
		if f.Note == byTable {
			s.table = append(s.table, f.Load)
		}
	case FactStillIn, FactFetched:
		s.table = slices.DeleteFunc(slices.Clone(s.table), func(id LoadID) bool { return id == f.Load })
	}
	s.table = s.table[max(0, len(s.table)-tableHolds):]
}

// took takes down what writes no fact: who moves out has no laundry in other
// loads, and who becomes one with somebody else has what was theirs. owner is
// whose a load is then: nobody shares their own.
func (s *shelf) took(ev Event, owner func(LoadID) (PersonID, HomeID)) {
	switch e := ev.(type) {
	case MovedOut:
		if e.TurnsOnly {
			return
		}
		for id := range s.shared {
			s.drop(id, func(x Sharer) bool {
				return e.Person != "" && x.Person == e.Person || e.Person == "" && x.Home == e.Home
			})
		}
	case Merged:
		for id, list := range s.shared {
			list = slices.Clone(list)
			for i, x := range list {
				switch {
				case e.Person != "" && x.Person == e.Person:
					list[i] = Sharer{e.Into, e.IntoHome}
				case e.Person == "" && x.Home == e.Home:
					list[i].Home = e.IntoHome
				}
			}
			s.shared[id] = list
			person, home := owner(id)
			s.drop(id, func(x Sharer) bool { return x.Person == person || home != "" && x.Home == home })
		}
	}
}

// drop forgets shares in a load.
func (s *shelf) drop(id LoadID, which func(Sharer) bool) {
	s.shared[id] = slices.DeleteFunc(slices.Clone(s.shared[id]), which)
}

// onTheShelf: loads are shared with those who took an offer, and on the table is what
// was put there and not fetched, no longer than a day untold.
func (a *anything) onTheShelf() {
	offers := map[string]LoadID{}
	for i := range a.room.state.Loads {
		l := &a.room.state.Loads[i]
		if want := a.shelf.shared[l.ID]; !slices.Equal(l.Shared, want) {
			a.rt.Fatalf("load %d is shared with %+v, want %+v", l.ID, l.Shared, want)
		}
		switch other := offers[l.ShareHash]; {
		case l.ShareHash == "":
		case other != 0:
			a.rt.Fatalf("loads %d and %d are offered with one code", l.ID, other)
		case l.Owner == "":
			a.rt.Fatalf("load %d of nobody is offered", l.ID)
		}
		offers[l.ShareHash] = l.ID
		if len(l.Shared) > mostSharers || l.Owner != "" && l.SharedWith(l.Owner, l.Home) {
			a.rt.Fatalf("load %d of %q is shared with %+v", l.ID, l.Owner, l.Shared)
		}
	}
	var lies []LoadID
	for _, l := range a.room.state.Table {
		lies = append(lies, l.Load)
		if a.room.load(l.Load) != nil {
			a.rt.Fatalf("load %d is on the table and in a machine", l.Load)
		}
		if late := a.room.state.Now.Sub(l.At); late > 24*time.Hour && !l.Forgotten && !a.room.supplyOut() {
			a.rt.Fatalf("load %d is on the table for %s, and nobody was told", l.Load, late)
		}
	}
	if !slices.Equal(lies, a.shelf.table) {
		a.rt.Fatalf("on the table are %v, want %v", lies, a.shelf.table)
	}
}

// share offers a load, mostly by its owner, and lets somebody take an offer, or guess one.
func (a *anything) share() {
	if len(a.room.state.Loads) == 0 {
		return
	}
	l := rapid.SampledFrom(a.room.state.Loads).Draw(a.rt, "load")
	person, home := l.Owner, l.Home
	if a.chance("stranger", 4) {
		person, home = a.who()
	}
	hash := fmt.Sprint("offer ", a.did["OfferShare"])
	a.step(OfferShare{Machine: l.Machine, Person: person, Home: home, Hash: hash})
	a.pass(time.Duration(rapid.IntRange(0, 10).Draw(a.rt, "minutes")) * time.Minute)
	if a.chance("guessed", 6) {
		hash = "guessed"
	}
	for range rapid.IntRange(0, 2).Draw(a.rt, "takers") { // an offer holds once
		person, home := a.who()
		a.step(ShareLoad{Person: person, Home: home, Hash: hash})
	}
}

// table puts a ready load on it, or takes one from it.
func (a *anything) table() {
	for _, l := range a.room.state.Loads {
		if l.Ready() && a.chance("put", 2) {
			a.step(Collect{Machine: l.Machine, OnTable: true})
			break
		}
	}
	if len(a.room.state.Table) == 0 {
		return
	}
	l := rapid.SampledFrom(a.room.state.Table).Draw(a.rt, "lies")
	person, home := a.who()
	a.step(Fetched{Load: l.Load, Person: person, Home: home, Manager: a.chance("manager", 4), Forgotten: a.chance("all that were forgotten", 4)})
}

// onTheWay lets somebody called say that they are coming: it adds what the house
// gives, once.
func (a *anything) onTheWay() {
	for i := range a.room.state.Machines {
		t := a.room.holder(i)
		if t == nil {
			continue
		}
		a.tell(Tick{})
		if t = a.room.holder(i); t == nil {
			return
		}
		id, until, adds := t.ID, t.HoldUntil, a.room.state.Rules.OnMyWayAdds
		if !t.OnWay.IsZero() {
			adds = 0
		}
		_, err := a.tell(OnMyWay{Turn: id, Person: t.Person, Home: t.Home})
		a.did["OnMyWay"]++
		m := &a.room.state.Machines[i]
		lost := m.Hold == nil || !m.Hold.OnWay // killed before the commit
		if err != nil || !lost && (m.Hold.Turn != id || !m.Hold.Until.Equal(until.Add(adds))) {
			a.rt.Fatalf("on my way (%v): the hold of turn %d until %s is %+v", err, id, until, m.Hold)
		}
		return
	}
}
