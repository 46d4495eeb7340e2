package coordinator

import "time"

// Place is a machine within the building.
type Place struct {
	Room    RoomID
	Machine MachineID
}

// MachineCode is the secret in the code printed on a machine: whoever has it
// stands, or stood, before the machine.
type MachineCode struct {
	Place
	Code string
	Made time.Time
}

// Pass is a one-time code that opens a session for its person on another
// browser: a second phone, the installed page, the phone after a lost one.
type Pass struct {
	// Hash is the SHA-256, in hex, of the code without spaces and hyphens, in capitals.
	Hash    string
	Person  PersonID
	Made    time.Time
	Expires time.Time
}

// The events about codes.
type (
	// SetMachineCode gives a machine a new printed code; the old one stops to hold.
	SetMachineCode struct {
		By      PersonID // empty: the program itself
		Room    RoomID
		Machine MachineID
		Code    string
	}
	// OfferPass makes a one-time code for a person; an older one of theirs stops to hold.
	OfferPass struct {
		By      PersonID // the manager who makes it; empty: the person, or a letter
		Person  PersonID
		Hash    string
		Expires time.Time
	}
	// UsePass opens a session by a one-time code, and uses it up.
	UsePass struct {
		Hash        string
		SessionHash string
		Expires     time.Time
	}
	// ReturnHome opens a session by the code of a home, for one of that home who lost their phone.
	ReturnHome struct {
		HomeCode string
		Person   PersonID
		// Open: in a room of the building residents name their homes themselves.
		Open        bool
		SessionHash string
		Expires     time.Time
	}
)

func (SetMachineCode) peopleEvent() {}
func (OfferPass) peopleEvent()      {}
func (UsePass) peopleEvent()        {}
func (ReturnHome) peopleEvent()     {}

// handleCodes dispatches the events about codes; known is false for others.
func (s *peopleStep) handleCodes(ev PeopleEvent) (known bool, err error) {
	switch e := ev.(type) {
	case SetMachineCode:
		err = s.setMachineCode(e)
	case OfferPass:
		err = s.offerPass(e)
	case UsePass:
		err = s.usePass(e)
	case ReturnHome:
		err = s.returnHome(e)
	case SetInvitation:
		err = s.setInvitation(e)
	case InviteGuests:
		err = s.inviteGuests(e)
	case DropGuestInvitation:
		s.dropGuestInvitation(e)
	default:
		return false, nil
	}
	return true, err
}

// AtMachine reports whether code is the one printed on the machine.
func (p *People) AtMachine(room RoomID, machine MachineID, code string) bool {
	c, ok := p.MachineCodes[Place{room, machine}]
	return ok && SameCode(c.Code, code)
}

// HomeByCode finds the home whose code it is; ok is false when there is none.
func (p *People) HomeByCode(code string) (Home, bool) {
	for _, h := range p.Homes {
		if SameCode(h.Code, code) {
			return h, true
		}
	}
	return Home{}, false
}

// setMachineCode notes the code of a machine.
func (s *peopleStep) setMachineCode(e SetMachineCode) error {
	if e.Room == "" || e.Machine == "" || PlainCode(e.Code) == "" {
		return Refuse(Invalid, "machine.code", "A machine's code needs a room, a machine and letters.")
	}
	v := MachineCode{Place: Place{e.Room, e.Machine}, Code: e.Code, Made: s.now}
	s.next.MachineCodes = put(s.next.MachineCodes, v.Place, v)
	s.out.Put("machine-code", string(e.Room)+"/"+string(e.Machine), v)
	s.act(e.By, FactMachineCode, AboutMachine(e.Room, e.Machine), "")
	return nil
}

// offerPass notes a one-time code, and sweeps those that ran out.
func (s *peopleStep) offerPass(e OfferPass) error {
	if _, err := s.resident(e.Person); err != nil {
		return err // a manager has ways in of their own
	}
	s.dropPasses(func(p Pass) bool { return p.Person == e.Person || !s.now.Before(p.Expires) })
	v := Pass{Hash: e.Hash, Person: e.Person, Made: s.now, Expires: e.Expires}
	s.next.Passes = put(s.next.Passes, v.Hash, v)
	s.out.Put("pass", v.Hash, v)
	s.act(e.By, FactPassMade, AboutPerson(e.Person), "")
	return nil
}

// dropPasses takes away the one-time codes that stale says.
func (s *peopleStep) dropPasses(stale func(Pass) bool) {
	s.next.Passes = dropStale(s, s.next.Passes, "pass", stale)
}

// usePass opens the session that a one-time code is for.
func (s *peopleStep) usePass(e UsePass) error {
	p, ok := s.next.Passes[e.Hash]
	if !ok || !s.now.Before(p.Expires) {
		return Refuse(NotAllowed, "pass.unknown", "That code is not known here: it was used, has run out, or was mistyped.")
	}
	s.dropPasses(func(x Pass) bool { return x.Hash == e.Hash })
	s.putSession(Session{Hash: e.SessionHash, Person: p.Person, Made: s.now, Expires: e.Expires})
	return nil
}

// returnHome opens a session for one of a home by the code that the home was
// given on paper. Where homes are open anybody may join any of them and then
// reads its code, so there it shows nothing about who somebody is.
func (s *peopleStep) returnHome(e ReturnHome) error {
	if e.Open {
		return Refuse(NotAllowed, "return.open", "In this house the code of a home does not show who you are. Use a one-time code, from your other phone or the building manager, or join anew with the code on the wall: your home's loads are yours there, too.")
	}
	home, ok := s.next.HomeByCode(e.HomeCode)
	person, known := s.next.Persons[e.Person]
	if !ok || !known || person.Home != home.ID || person.Manager {
		return Refuse(NotAllowed, "return.code", "No home with somebody in it has that code.")
	}
	s.putSession(Session{Hash: e.SessionHash, Person: person.ID, Made: s.now, Expires: e.Expires})
	return nil
}
