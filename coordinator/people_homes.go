package coordinator

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// Departure is somebody whom rooms are to be told of: gone, moved out, blocked,
// or become one with somebody else. It is stored with what it follows from, and
// stays until every room has been told, so that a kill in between loses nothing.
type Departure struct {
	ID string
	// Person left, or everybody of Home where Person is empty.
	Person PersonID `json:",omitempty"`
	Home   HomeID   `json:",omitempty"`
	// Into and IntoHome take over what was theirs; both empty: nobody does.
	Into     PersonID `json:",omitempty"`
	IntoHome HomeID   `json:",omitempty"`
	// TurnsOnly: their loads stay theirs.
	TurnsOnly bool `json:",omitempty"`
	// Erase are those who are to be taken out of the history as well.
	Erase []PersonID `json:",omitempty"`
}

// The events about homes and their members. By is the manager who does it.
type (
	// AddHome makes a home, so that its code can be printed.
	AddHome struct {
		By         PersonID
		Name, Code string
	}
	// SetHomeCode gives a home a new code; the old one stops to hold.
	SetHomeCode struct {
		By   PersonID
		Home HomeID
		Code string
	}
	// Block keeps a person, or where Person is empty a home, from taking turns, or lets them again.
	Block struct {
		By     PersonID
		Person PersonID
		Home   HomeID
		On     bool
	}
	// MergePersons makes two that are one person one: who signed up twice.
	MergePersons struct{ By, From, Into PersonID }
	// MergeHomes does the same with homes; members of From become members of Into.
	MergeHomes struct {
		By         PersonID
		From, Into HomeID
	}
	// MoveOut ends everything of a home's members; the home gets another code.
	MoveOut struct {
		By   PersonID
		Home HomeID
		Code string
	}
	// Departed says that every room has been told of a departure.
	Departed struct{ ID string }
	// EndGuests removes the guests whose time is over.
	EndGuests struct{}
)

func (AddHome) peopleEvent()      {}
func (SetHomeCode) peopleEvent()  {}
func (Block) peopleEvent()        {}
func (MergePersons) peopleEvent() {}
func (MergeHomes) peopleEvent()   {}
func (MoveOut) peopleEvent()      {}
func (Departed) peopleEvent()     {}
func (EndGuests) peopleEvent()    {}

// handleHomes dispatches the events about homes; known is false for others.
func (s *peopleStep) handleHomes(ev PeopleEvent) (known bool, err error) {
	switch e := ev.(type) {
	case AddHome:
		err = s.addHome(e)
	case SetHomeCode:
		err = s.setHomeCode(e)
	case Block:
		err = s.block(e)
	case MergePersons:
		err = s.mergePersons(e)
	case MergeHomes:
		err = s.mergeHomes(e)
	case MoveOut:
		err = s.moveOut(e)
	case Forget:
		err = s.forgetPerson(e)
	case Departed:
		s.departed(e)
	case EndGuests:
		err = s.endGuests()
	default:
		return false, nil
	}
	return true, err
}

// Members lists who is of a home, guests too, the longest first.
func (p *People) Members(id HomeID) []Person {
	var out []Person
	for _, person := range p.Persons {
		if person.Home == id && !person.Manager {
			out = append(out, person)
		}
	}
	slices.SortFunc(out, func(a, b Person) int { return byAge(a.Joined, b.Joined, string(a.ID), string(b.ID)) })
	return out
}

// MayTakeTurn says why a person of a home cannot take turns just now; nil when they can.
func (p *People) MayTakeTurn(who PersonID, home HomeID) error {
	if p.Persons[who].Blocked || p.Homes[home].Blocked {
		return Refuse(NotAllowed, "join.blocked", "The building manager has blocked new turns for you. Please talk to them.")
	}
	return nil
}

// HomeCalled is the home that residents call by a name, or called so before it was
// merged.
func (p *People) HomeCalled(name string) (Home, bool) {
	name = strings.Join(strings.Fields(name), " ")
	called := func(other string) bool { return strings.EqualFold(other, name) }
	for _, h := range p.Homes {
		if called(h.Name) || slices.ContainsFunc(h.Also, called) {
			return h, true
		}
	}
	return Home{}, false
}

// homeCalled finds the home that residents call by a name, or makes it.
func (s *peopleStep) homeCalled(name, code string) (HomeID, error) {
	name = strings.Join(strings.Fields(name), " ")
	if name == "" || len(name) > longestName || !utf8.ValidString(name) {
		return "", Refuse(Invalid, "join.home", "Say which home you live in, such as the number on its door.")
	}
	if h, ok := s.next.HomeCalled(name); ok {
		return h.ID, nil
	}
	id := HomeIDFor(name)
	if _, there := s.next.Homes[id]; there { // letters differ in more than EqualFold sees: "İ" and "i"
		return id, nil
	}
	s.putHome(Home{ID: id, Name: name, Code: code, Joined: s.now})
	return id, nil
}

// home finds a home, or refuses.
func (s *peopleStep) home(id HomeID) (Home, error) {
	h, ok := s.next.Homes[id]
	if !ok {
		return Home{}, Refuse(NotFound, "home.unknown", "That home is not known here.")
	}
	return h, nil
}

func (s *peopleStep) addHome(e AddHome) error {
	before := len(s.next.Homes)
	id, err := s.homeCalled(e.Name, e.Code)
	if err != nil {
		return err
	}
	if len(s.next.Homes) > before {
		s.act(e.By, FactHomeAdded, AboutHome(id), "")
	}
	return nil
}

func (s *peopleStep) setHomeCode(e SetHomeCode) error {
	h, err := s.home(e.Home)
	if err != nil {
		return err
	}
	if PlainCode(e.Code) == "" {
		return Refuse(Invalid, "home.code", "A home's code needs letters.")
	}
	h.Code = e.Code
	s.putHome(h)
	s.act(e.By, FactHomeCode, AboutHome(h.ID), "")
	return nil
}

// block keeps somebody from taking turns; those who wait leave the queue.
func (s *peopleStep) block(e Block) error {
	kind := FactUnblocked
	if e.On {
		kind = FactBlocked
	}
	if e.Person != "" {
		p, err := s.resident(e.Person)
		if err != nil || p.Blocked == e.On {
			return err
		}
		p.Blocked = e.On
		s.putPerson(p)
		s.act(e.By, kind, AboutPerson(p.ID), "")
		e.Home = ""
	} else {
		h, err := s.home(e.Home)
		if err != nil || h.Blocked == e.On {
			return err
		}
		h.Blocked = e.On
		s.putHome(h)
		s.act(e.By, kind, AboutHome(h.ID), "")
	}
	if e.On {
		s.depart(Departure{Person: e.Person, Home: e.Home, TurnsOnly: true})
	}
	return nil
}

// resident finds a person who is no manager.
func (s *peopleStep) resident(id PersonID) (Person, error) {
	p, err := s.person(id)
	if err == nil && p.Manager {
		err = Refuse(NotAllowed, "person.manager", "That is a manager, not a resident.")
	}
	return p, err
}

// depart notes whom rooms are to be told of.
func (s *peopleStep) depart(d Departure) {
	// Ids are of one length, so that they sort as people left.
	d.ID = fmt.Sprintf("%012d-%06d", s.next.Seq, len(s.next.Departures))
	s.next.Departures = put(s.next.Departures, d.ID, d)
	s.out.Put("departure", d.ID, d)
}

func (s *peopleStep) departed(e Departed) {
	if _, ok := s.next.Departures[e.ID]; ok {
		s.next.Departures = drop(s.next.Departures, e.ID)
		s.out.Drop("departure", e.ID)
	}
}

func (s *peopleStep) forgetPerson(e Forget) error {
	p, ok := s.next.Persons[e.Person]
	switch {
	case !ok:
		return nil
	case p.Manager:
		return Refuse(NotAllowed, "person.manager", "That is a manager, not a resident.")
	}
	d := Departure{Person: e.Person}
	if e.Erase {
		d.Erase = p.IDs()
	}
	if err := s.forget(e.Person); err != nil {
		return err
	}
	s.depart(d)
	s.act(e.By, FactErased, "", "")
	return nil
}

func (s *peopleStep) moveOut(e MoveOut) error {
	h, err := s.home(e.Home)
	if err != nil {
		return err
	}
	if PlainCode(e.Code) == "" {
		return Refuse(Invalid, "home.code", "A home's code needs letters.")
	}
	for _, p := range s.next.Members(h.ID) {
		if err := s.forget(p.ID); err != nil {
			return err
		}
	}
	s.dropGuests(func(g GuestInvitation) bool { return g.Home == h.ID })
	h.Code, h.Blocked, h.Joined = e.Code, false, s.now
	s.putHome(h)
	s.depart(Departure{Home: h.ID})
	s.act(e.By, FactMovedAway, AboutHome(h.ID), "")
	return nil
}

// endGuests removes those whose time is over.
func (s *peopleStep) endGuests() error {
	s.dropGuests(func(g GuestInvitation) bool { return !s.now.Before(g.Until) })
	for _, id := range sortedKeys(s.next.Persons) {
		if p := s.next.Persons[id]; p.Gone(s.now) {
			if err := s.forget(p.ID); err != nil {
				return err
			}
			s.depart(Departure{Person: p.ID})
		}
	}
	return nil
}

// NextEnd is when the next guest's time is over; zero when there is none.
func (p *People) NextEnd() time.Time {
	var next time.Time
	for _, person := range p.Persons {
		if g := person.Guest; !g.IsZero() && (next.IsZero() || g.Before(next)) {
			next = g
		}
	}
	return next
}
