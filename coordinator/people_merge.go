package coordinator

import (
	"slices"
	"strings"
	"time"
)

// mergePersons makes who signed up twice one person: browsers and devices of
// From are Into's, and so are turns and loads once the rooms are told.
func (s *peopleStep) mergePersons(e MergePersons) error {
	from, err := s.resident(e.From)
	if err != nil {
		return err
	}
	into, err := s.resident(e.Into)
	if err != nil {
		return err
	}
	if from.ID == into.ID {
		return Refuse(Invalid, "merge.same", "These are one already. Choose two.")
	}
	s.takeOver(from.ID, into.ID)
	into.Former = formerOf(into, from)
	into.Mail = mailOf(into.Mail, from.Mail)
	if into.Name == "" {
		into.Name = from.Name
	}
	into.Blocked = into.Blocked || from.Blocked
	into.Guest = stayOf(into.Guest, from.Guest)
	if err := s.forget(from.ID); err != nil {
		return err
	}
	s.putPerson(into)
	s.depart(Departure{Person: from.ID, Into: into.ID, IntoHome: into.Home})
	s.act(e.By, FactMerged, AboutPerson(into.ID), "")
	return nil
}

// stayOf is until when two guests that are one stay, the longer of both; zero, since
// who lives here is no guest.
func stayOf(a, b time.Time) time.Time {
	if a.IsZero() || b.IsZero() {
		return time.Time{}
	}
	return later(a, b)
}

// mailOf is the address of who becomes one with somebody else: their own, else the
// other's. What waits to be confirmed waits on; of two, their own does.
func mailOf(into, from Mail) Mail {
	asked := into.Asked
	if asked.Hash == "" {
		asked = from.Asked
	}
	if into.Address == "" {
		into = from
	}
	into.Asked = asked
	return into
}

// takeOver gives the browsers and devices of one person to another.
func (s *peopleStep) takeOver(from, into PersonID) {
	for _, hash := range sortedKeys(s.next.Sessions) {
		if v := s.next.Sessions[hash]; v.Person == from {
			v.Person = into
			s.next.Sessions = put(s.next.Sessions, v.Hash, v)
			s.out.Put("session", v.Hash, v)
		}
	}
	for _, sub := range s.next.Devices(from) {
		sub.Person = into
		s.putSubscription(sub)
	}
	s.onlyNewest(into)
}

// mergeHomes makes two homes one, which answers to the names of both.
func (s *peopleStep) mergeHomes(e MergeHomes) error {
	from, err := s.home(e.From)
	if err != nil {
		return err
	}
	into, err := s.home(e.Into)
	if err != nil {
		return err
	}
	if from.ID == into.ID {
		return Refuse(Invalid, "merge.same", "These are one already. Choose two.")
	}
	for _, p := range s.next.Members(from.ID) {
		p.Home = into.ID
		s.putPerson(p)
	}
	for _, id := range sortedKeys(s.next.Guests) {
		if g := s.next.Guests[id]; g.Home == from.ID {
			g.Home = into.ID
			s.putGuest(g)
		}
	}
	into.Also = alsoCalled(into, from)
	into.Blocked = into.Blocked || from.Blocked
	s.putHome(into)
	s.next.Homes = drop(s.next.Homes, from.ID)
	s.out.Drop("home", string(from.ID))
	s.depart(Departure{Home: from.ID, IntoHome: into.ID})
	s.act(e.By, FactMerged, AboutHome(into.ID), "")
	return nil
}

// alsoCalled is what the home that others become part of is called besides its name.
func alsoCalled(into, from Home) []string {
	names := slices.Clone(into.Also)
	for _, name := range append([]string{from.Name}, from.Also...) {
		same := func(other string) bool { return strings.EqualFold(other, name) }
		if !same(into.Name) && !slices.ContainsFunc(names, same) {
			names = append(names, name)
		}
	}
	return names
}
