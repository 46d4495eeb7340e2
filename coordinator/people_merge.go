package coordinator

import (
	"slices"
	"strings"
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
	if into.Mail.Address == "" {
		into.Mail = from.Mail
	}
	if into.Name == "" {
		into.Name = from.Name
	}
	into.Blocked = into.Blocked || from.Blocked
	if from.Guest.IsZero() {
		into.Guest = from.Guest // who lives here is no guest
	}
	if err := s.forget(from.ID); err != nil {
		return err
	}
	s.putPerson(into)
	s.depart(Departure{Person: from.ID, Into: into.ID, IntoHome: into.Home})
	s.act(e.By, FactMerged, AboutPerson(into.ID), "")
	return nil
}

// takeOver gives the browsers and devices of one person to another.
func (s *peopleStep) takeOver(from, into PersonID) {
	for _, v := range s.next.Sessions {
		if v.Person == from {
			v.Person = into
			s.next.Sessions = put(s.next.Sessions, v.Hash, v)
			s.out.Put("session", v.Hash, v)
		}
	}
	for _, sub := range s.next.Devices(from) {
		s.makeRoom(s.next.Devices(into))
		sub.Person = into
		s.next.Subscriptions = put(s.next.Subscriptions, sub.ID, sub)
		s.out.Put("subscription", sub.ID, sub)
	}
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
	for id, g := range s.next.Guests {
		if g.Home == from.ID {
			g.Home = into.ID
			s.next.Guests = put(s.next.Guests, id, g)
			s.out.Put("guest-invitation", id, g)
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
