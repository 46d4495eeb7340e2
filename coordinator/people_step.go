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
	switch e := ev.(type) {
	case JoinBuilding:
		return s.join(e)
	case SignOut:
		s.dropSession(e.SessionHash)
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
	case SetInvitation:
		s.putInvitation(Invitation{Room: e.Room, Code: e.Code, Made: s.now})
	case SetTariff:
		return s.setTariff(e.Tariff)
	case SetFirstToken:
		return s.setFirstToken(e)
	case SetPassphrase:
		return s.setPassphrase(e)
	case SignInManager:
		return s.signInManager(e)
	case Forget:
		return s.forget(e.Person)
	case SetMachineCode:
		return s.setMachineCode(e)
	case OfferPass:
		return s.offerPass(e)
	case UsePass:
		return s.usePass(e)
	case ReturnHome:
		return s.returnHome(e)
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

// join makes a person and a session, by the code on a room's wall.
func (s *peopleStep) join(e JoinBuilding) error {
	inv, ok := s.next.Invitations[e.Room]
	if !ok || !SameCode(inv.Code, e.Code) {
		return Refuse(NotAllowed, "join.code", "That is not the code on the wall of this room.")
	}
	home, err := s.joinHome(e)
	if err != nil {
		return err
	}
	name := strings.TrimSpace(e.Name)
	if len(name) > longestName || !utf8.ValidString(name) {
		return Refuse(Invalid, "join.name", "A name can have up to {most} letters.", "most", longestName)
	}
	s.putPerson(Person{ID: e.NewID, Home: home, Name: name, Lang: e.Lang, Joined: s.now})
	s.putSession(Session{Hash: e.SessionHash, Person: e.NewID, Made: s.now, Expires: e.Expires})
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
	name := strings.Join(strings.Fields(e.HomeName), " ")
	if name == "" || len(name) > longestName || !utf8.ValidString(name) {
		return "", Refuse(Invalid, "join.home", "Say which home you live in, such as the number on its door.")
	}
	for _, h := range s.next.Homes {
		if strings.EqualFold(h.Name, name) {
			return h.ID, nil
		}
	}
	id := HomeIDFor(name)
	s.putHome(Home{ID: id, Name: name, Code: e.NewHomeCode, Joined: s.now})
	return id, nil
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

func (s *peopleStep) setFirstToken(e SetFirstToken) error {
	if s.next.Passphrase != "" {
		return Refuse(Conflict, "first.done", "The building has a manager already.")
	}
	s.next.FirstToken = e.Hash
	s.putManager()
	return nil
}

// setPassphrase makes the first manager; the one-time link is used up by it.
func (s *peopleStep) setPassphrase(e SetPassphrase) error {
	if s.next.FirstToken == "" || subtle.ConstantTimeCompare([]byte(s.next.FirstToken), []byte(e.TokenHash)) != 1 {
		return Refuse(NotAllowed, "first.token", "This link has been used, or is not the one that was printed at the first start.")
	}
	s.next.Passphrase, s.next.FirstToken = e.Passphrase, ""
	s.putManager()
	s.putPerson(Person{ID: e.NewID, Name: "Building manager", Manager: true, Joined: s.now})
	s.putSession(Session{Hash: e.SessionHash, Person: e.NewID, Made: s.now, Expires: e.Expires})
	return nil
}

func (s *peopleStep) signInManager(e SignInManager) error {
	managers := s.next.Managers()
	if len(managers) == 0 {
		return Refuse(Conflict, "manager.none", "The building has no manager yet: use the link printed at the first start.")
	}
	first := managers[0]
	for _, m := range managers {
		if m.Joined.Before(first.Joined) {
			first = m
		}
	}
	s.putSession(Session{Hash: e.SessionHash, Person: first.ID, Made: s.now, Expires: e.Expires})
	return nil
}

// forget removes a person with everything that leads to them.
func (s *peopleStep) forget(id PersonID) error {
	if _, ok := s.next.Persons[id]; !ok {
		return nil
	}
	for hash, session := range s.next.Sessions {
		if session.Person == id {
			s.dropSession(hash)
		}
	}
	for _, sub := range s.next.Devices(id) {
		s.dropSubscription(sub.ID)
	}
	s.dropPasses(func(p Pass) bool { return p.Person == id })
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
