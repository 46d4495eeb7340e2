package coordinator

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"
)

// managerRow is what is stored of the way in of the first start. Passphrase is
// that of the one manager whom a building had before managers had names; it is
// read, and moves to that manager's WayIn with the first change of any.
type managerRow struct {
	Passphrase string `json:",omitempty"`
	FirstToken string
	// NoticesSeen is People.NoticesSeen.
	NoticesSeen time.Time `json:",omitzero"`
}

func (s *peopleStep) putPerson(v Person) {
	s.next.Persons = put(s.next.Persons, v.ID, v)
	s.out.Put("person", string(v.ID), v)
}

func (s *peopleStep) putHome(v Home) {
	s.next.Homes = put(s.next.Homes, v.ID, v)
	s.out.Put("home", string(v.ID), v)
}

// putSession opens a session, and sweeps those that ran out.
func (s *peopleStep) putSession(v Session) {
	s.dropSessions(func(old Session) bool { return !s.now.Before(old.Expires) })
	s.next.Sessions = put(s.next.Sessions, v.Hash, v)
	s.out.Put("session", v.Hash, v)
}

func (s *peopleStep) dropSession(hash string) {
	s.dropSessions(func(v Session) bool { return v.Hash == hash })
}

// dropSessions takes away the sessions that stale says.
func (s *peopleStep) dropSessions(stale func(Session) bool) {
	s.next.Sessions = dropStale(s, s.next.Sessions, "session", stale)
}

func (s *peopleStep) putInvitation(v Invitation) {
	s.next.Invitations = put(s.next.Invitations, v.Room, v)
	s.out.Put("invitation", string(v.Room), v)
}

func (s *peopleStep) dropSubscription(id string) {
	s.next.Subscriptions = drop(s.next.Subscriptions, id)
	s.out.Drop("subscription", id)
}

// setTariff adds a version; those before it stay.
func (s *peopleStep) setTariff(e SetTariff) error {
	t := e.Tariff
	if problems := t.Validate(); len(problems) > 0 {
		p := problems[0]
		return Refuse(Invalid, "tariff.invalid", "Tariff, {path}: {wrong}; {right}.", "path", p.Path, "wrong", p.Wrong, "right", p.Right)
	}
	v := TariffVersion{Version: 1, Set: s.now, Tariff: t}
	if n := len(s.next.Tariffs); n > 0 {
		v.Version = s.next.Tariffs[n-1].Version + 1
	}
	s.next.Tariffs = append(s.next.Tariffs[:len(s.next.Tariffs):len(s.next.Tariffs)], v)
	s.out.Put("tariff", fmt.Sprintf("%06d", v.Version), v)
	s.act(e.By, FactTariffSet, "", "")
	return nil
}

// restoreTariff reads a version. Rows come in the order of their keys, and the
// one of old comes last: it is put into its place.
func (p *People) restoreTariff(row Row) error {
	var v TariffVersion
	if err := json.Unmarshal(row.Value, &v); err != nil {
		return err
	}
	p.Tariffs = append(p.Tariffs, v)
	slices.SortFunc(p.Tariffs, func(a, b TariffVersion) int { return a.Version - b.Version })
	return nil
}

func (s *peopleStep) putManager() {
	s.renew()
	s.out.Put("manager", "way-in", managerRow{FirstToken: s.next.FirstToken, NoticesSeen: s.next.NoticesSeen})
}

func (s *peopleStep) putWayIn(v WayIn) {
	s.renew()
	s.next.WaysIn = put(s.next.WaysIn, v.Person, v)
	s.out.Put("way-in", string(v.Person), v)
}

func (s *peopleStep) dropWayIn(id PersonID) {
	s.renew()
	s.next.WaysIn = drop(s.next.WaysIn, id)
	s.out.Drop("way-in", string(id))
}

// renew stores the ways in that were read from the old form, once.
func (s *peopleStep) renew() {
	if !s.next.old {
		return
	}
	s.next.old = false
	for _, id := range sortedKeys(s.next.WaysIn) {
		s.out.Put("way-in", string(id), s.next.WaysIn[id])
	}
	s.putManager()
}

// fact notes an act in the building's log.
func (s *peopleStep) fact(f Fact) {
	f.At = s.now
	s.out.Facts = append(s.out.Facts, f)
}

// act notes what a manager did; what nobody did is not noted.
func (s *peopleStep) act(by PersonID, kind FactKind, about, note string) {
	if by != "" {
		s.fact(Fact{Kind: kind, Person: by, About: about, Note: note})
	}
}

// RestorePeople makes the People that a store holds.
func RestorePeople(stored Stored) (*People, error) {
	p := &People{
		Seq: stored.Seq, Persons: map[PersonID]Person{}, Homes: map[HomeID]Home{}, Sessions: map[string]Session{},
		Invitations: map[RoomID]Invitation{}, Subscriptions: map[string]Subscription{},
		MachineCodes: map[Place]MachineCode{}, Passes: map[string]Pass{}, WaysIn: map[PersonID]WayIn{},
		ManagerInvites: map[string]ManagerInvite{}, Guests: map[string]GuestInvitation{}, Departures: map[string]Departure{},
		Tokens: map[string]Token{}, Webhooks: map[string]Webhook{}, HookStates: map[string]HookState{},
	}
	var manager managerRow
	for _, row := range stored.Rows {
		if err := p.restore(row, &manager); err != nil {
			return nil, fmt.Errorf("record %s %q of the building's people does not read: %w", row.Table, row.Key, err)
		}
	}
	p.FirstToken, p.NoticesSeen = manager.FirstToken, manager.NoticesSeen
	if all := p.Managers(); manager.Passphrase != "" && len(all) > 0 {
		p.old = true
		p.WaysIn[all[0].ID] = WayIn{Person: all[0].ID, Passphrase: manager.Passphrase}
	}
	return p, nil
}

func (p *People) restore(row Row, manager *managerRow) error {
	switch row.Table {
	case "person":
		return restoreInto(p.Persons, PersonID(row.Key), row.Value)
	case "home":
		return restoreInto(p.Homes, HomeID(row.Key), row.Value)
	case "session":
		return restoreInto(p.Sessions, row.Key, row.Value)
	case "invitation":
		return restoreInto(p.Invitations, RoomID(row.Key), row.Value)
	case "subscription":
		return restoreInto(p.Subscriptions, row.Key, row.Value)
	case "pass":
		return restoreInto(p.Passes, row.Key, row.Value)
	case "machine-code":
		var c MachineCode
		err := json.Unmarshal(row.Value, &c)
		p.MachineCodes[c.Place] = c
		return err
	case "tariff":
		return p.restoreTariff(row)
	case "token":
		return restoreInto(p.Tokens, row.Key, row.Value)
	case "webhook":
		return restoreInto(p.Webhooks, row.Key, row.Value)
	case "webhook-state":
		return restoreInto(p.HookStates, row.Key, row.Value)
	case "manager":
		return json.Unmarshal(row.Value, manager)
	case "way-in":
		return restoreInto(p.WaysIn, PersonID(row.Key), row.Value)
	case "manager-invite":
		return restoreInto(p.ManagerInvites, row.Key, row.Value)
	case "guest-invitation":
		return restoreInto(p.Guests, row.Key, row.Value)
	case "departure":
		return restoreInto(p.Departures, row.Key, row.Value)
	}
	return nil
}

func restoreInto[K comparable, V any](m map[K]V, k K, data []byte) error {
	var v V
	if err := json.Unmarshal(data, &v); err != nil {
		return err
	}
	m[k] = v
	return nil
}

// sortedKeys are the keys of a table in their order: the same event is to give the
// same rows in the same order, every time.
func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K { return slices.Sorted(maps.Keys(m)) }

// dropStale takes away the records of a table that stale says.
func dropStale[V any](s *peopleStep, from map[string]V, table string, stale func(V) bool) map[string]V {
	for _, key := range sortedKeys(from) {
		if stale(from[key]) {
			from = drop(from, key)
			s.out.Drop(table, key)
		}
	}
	return from
}
