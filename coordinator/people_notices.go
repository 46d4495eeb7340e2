package coordinator

import (
	"slices"
	"time"
)

// longestMute bounds how long a person may want to hear nothing; whoever wants
// it for longer switches notices off.
const longestMute = 14 * 24 * time.Hour

// subscribe adds a device, or renews the keys of one. A device belongs to the
// person who subscribed it last.
func (s *peopleStep) subscribe(e Subscribe) error {
	sub := e.Subscription
	if _, ok := s.next.Persons[sub.Person]; !ok {
		return Refuse(NotAllowed, "subscribe.stranger", "Only residents can be told on their phones.")
	}
	if old, ok := s.next.Subscriptions[e.Old]; ok && old.Person == sub.Person && old.ID != sub.ID {
		s.dropSubscription(old.ID)
	}
	sub.Made = s.now
	s.putSubscription(sub)
	s.onlyNewest(sub.Person)
	return nil
}

func (s *peopleStep) putSubscription(sub Subscription) {
	s.next.Subscriptions = put(s.next.Subscriptions, sub.ID, sub)
	s.out.Put("subscription", sub.ID, sub)
}

// onlyNewest drops the oldest of a person's devices where they have more than they may.
func (s *peopleStep) onlyNewest(id PersonID) {
	devices := s.next.Devices(id)
	for _, old := range devices[:max(0, len(devices)-devicesPerPerson)] {
		s.dropSubscription(old.ID)
	}
}

func (s *peopleStep) unsubscribe(e Unsubscribe) error {
	sub, ok := s.next.Subscriptions[e.ID]
	if !ok || (e.Person != "" && sub.Person != e.Person) {
		return nil
	}
	s.dropSubscription(e.ID)
	return nil
}

// setChoices sets what a person is told of. The kinds are stored in their
// order, each once, so that the same choices are the same record.
func (s *peopleStep) setChoices(e SetChoices) error {
	person, err := s.person(e.Person)
	if err != nil {
		return err
	}
	known := append(ResidentKinds(), ManagerKinds()...)
	var off []NoticeKind
	for _, kind := range known {
		if slices.Contains(e.Off, kind) {
			off = append(off, kind)
		}
	}
	for _, kind := range e.Off {
		if !slices.Contains(known, kind) {
			return Refuse(Invalid, "choices.kind", "There are no notices of the kind “{kind}”.", "kind", string(kind))
		}
	}
	if !e.Quiet.From.Valid() || !e.Quiet.To.Valid() {
		return Refuse(Invalid, "choices.quiet", "Quiet hours begin and end at a time of day between 00:00 and 23:59.")
	}
	if e.Quiet.None() {
		e.Quiet = Quiet{}
	}
	person.Off, person.Quiet, person.TellForHome = off, e.Quiet, e.TellForHome
	s.putPerson(person)
	return nil
}

// mute keeps a person from being told of anything for a while.
func (s *peopleStep) mute(e Mute) error {
	person, err := s.person(e.Person)
	if err != nil {
		return err
	}
	if e.Until.After(s.now.Add(longestMute)) {
		return Refuse(Invalid, "mute.long", "Notices can be muted for two weeks at most. Switch them off instead.")
	}
	if !e.Until.After(s.now) {
		e.Until = time.Time{}
	}
	person.MutedUntil = e.Until
	s.putPerson(person)
	return nil
}
