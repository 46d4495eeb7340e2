package coordinator

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"maps"
	"strings"
	"time"
	"unicode/utf8"
)

// Lengths, in bytes, of what people may type.
const (
	longestName = 60
	// devicesPerPerson bounds the subscriptions of one person; the oldest goes first.
	devicesPerPerson = 8
)

// Step takes an event at now and answers with the next People and what to store.
// A refusal is an *Error; the People returned is then p itself.
func (p *People) Step(now time.Time, ev PeopleEvent) (*People, ChangeSet, error) {
	s := &peopleStep{now: now, next: *p, out: ChangeSet{Unit: Building, Expect: p.Seq, At: now}}
	if err := s.handle(ev); err != nil {
		return p, ChangeSet{}, err
	}
	if !s.out.Moves() {
		return p, ChangeSet{}, nil
	}
	s.next.Seq++
	return &s.next, s.out, nil
}

// peopleStep is a step under way: next shares its maps with the People it comes
// from until one is written to.
type peopleStep struct {
	now  time.Time
	next People
	out  ChangeSet
}

func (s *peopleStep) handle(ev PeopleEvent) error {
	for _, part := range []func(PeopleEvent) (bool, error){s.handleManagers, s.handleHomes, s.handleCodes} {
		if known, err := part(ev); known {
			return err
		}
	}
	return s.handlePerson(ev)
}

// handlePerson dispatches the events about one person's own.
func (s *peopleStep) handlePerson(ev PeopleEvent) error {
	switch e := ev.(type) {
	case JoinBuilding:
		return s.join(e)
	case SignOut:
		s.signOut(e)
	case SawSession:
		s.sawSession(e)
	case EndSession:
		return s.endSession(e)
	case Subscribe:
		return s.subscribe(e)
	case Unsubscribe:
		return s.unsubscribe(e)
	case SetLanguage:
		return s.setLanguage(e)
	case SetChoices:
		return s.setChoices(e)
	case Mute:
		return s.mute(e)
	case SetTariff:
		return s.setTariff(e)
	case SignOutOthers:
		return s.signOutOthers(e)
	case AskMail:
		return s.askMail(e)
	case ConfirmMail:
		return s.confirmMail(e)
	case SetMailUse:
		return s.setMailUse(e)
	case EndMail:
		return s.endMail(e)
	default:
		if known, err := s.programs(ev); known {
			return err
		}
		return Refuse(Invalid, "people.event-unknown", "The building does not know what to do with that.")
	}
	return nil
}

// PlainCode is a code as it is read, whatever the case, spaces and hyphens that it is typed with.
func PlainCode(code string) string {
	return strings.ToUpper(strings.NewReplacer(" ", "", "-", "").Replace(code))
}

// SameCode compares codes as people type them: see PlainCode. No code is the same as none.
func SameCode(a, b string) bool {
	a, b = PlainCode(a), PlainCode(b)
	return a != "" && subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1
}

// join makes a person and a session, by the code on a room's wall or a guest's.
func (s *peopleStep) join(e JoinBuilding) error {
	if guest, ok := s.next.GuestByCode(e.Room, e.Code); ok && !e.Inside {
		return s.joinAsGuest(e, guest)
	}
	inv := s.next.Invitations[e.Room]
	if !e.Inside {
		if !SameCode(inv.Code, e.Code) {
			return Refuse(NotAllowed, "join.code", "That is not the code on the wall of this room.")
		}
		if !inv.Holds(s.now) {
			return Refuse(NotAllowed, "join.over", "This code has run out. Ask the building manager for the new one.")
		}
	}
	home, err := s.joinHome(e)
	if err != nil {
		return err
	}
	if !e.Inside {
		inv.Used++
		s.putInvitation(inv)
	}
	return s.admit(e, Person{Home: home})
}

// admit makes the person that an event asks for; who says what is known of them.
// Somebody who is known by the id already stays as they are.
func (s *peopleStep) admit(e JoinBuilding, who Person) error {
	name := strings.TrimSpace(e.Name)
	if len(name) > longestName || !utf8.ValidString(name) {
		return Refuse(Invalid, "join.name", "A name can have up to {most} letters.", "most", longestName)
	}
	if old, known := s.next.Persons[e.NewID]; !known || old.Home != who.Home {
		who.ID, who.Name, who.Lang, who.Joined = e.NewID, name, e.Lang, s.now
		s.putPerson(who)
	}
	if e.SessionHash != "" {
		s.putSession(Session{Hash: e.SessionHash, Person: e.NewID, Made: s.now, Expires: e.Expires})
	}
	return nil
}

// joinHome finds the home, or makes it where homes are open.
func (s *peopleStep) joinHome(e JoinBuilding) (HomeID, error) {
	if !e.Open {
		if h, ok := s.next.HomeByCode(e.HomeCode); ok {
			return h.ID, nil
		}
		return "", Refuse(NotAllowed, "join.home-code", "No home has that code. It is on the paper that the building manager gave you.")
	}
	return s.homeCalled(e.HomeName, e.NewHomeCode)
}

// HomeIDFor is the id of the home that residents call by a name. It follows from
// the name, so that a building file can reserve a machine for a home that
// nobody has joined yet, and it does not tell the name.
func HomeIDFor(name string) HomeID {
	sum := sha256.Sum256([]byte("home " + strings.ToLower(strings.Join(strings.Fields(name), " "))))
	return HomeID("h" + hex.EncodeToString(sum[:8]))
}

// person finds somebody, or refuses.
func (s *peopleStep) person(id PersonID) (Person, error) {
	person, ok := s.next.Persons[id]
	if !ok {
		return Person{}, Refuse(NotFound, "person.unknown", "That person is not known here.")
	}
	return person, nil
}

func (s *peopleStep) setLanguage(e SetLanguage) error {
	person, err := s.person(e.Person)
	if err != nil {
		return err
	}
	person.Lang = e.Lang
	s.putPerson(person)
	return nil
}

// forget removes a person with everything that leads to them.
func (s *peopleStep) forget(id PersonID) error {
	if _, ok := s.next.Persons[id]; !ok {
		return nil
	}
	s.dropSessions(func(v Session) bool { return v.Person == id })
	for _, sub := range s.next.Devices(id) {
		s.dropSubscription(sub.ID)
	}
	s.dropPasses(func(p Pass) bool { return p.Person == id })
	if _, ok := s.next.WaysIn[id]; ok {
		s.dropWayIn(id)
	}
	s.next.Persons = drop(s.next.Persons, id)
	s.out.Drop("person", string(id))
	return nil
}

// put answers a copy of m with one more entry.
func put[K comparable, V any](m map[K]V, k K, v V) map[K]V {
	c := maps.Clone(m)
	if c == nil {
		c = map[K]V{}
	}
	c[k] = v
	return c
}

// drop answers a copy of m without an entry.
func drop[K comparable, V any](m map[K]V, k K) map[K]V {
	c := maps.Clone(m)
	delete(c, k)
	return c
}
