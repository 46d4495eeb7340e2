package coordinator

import "time"

// GuestInvitation is a code by which guests of a home join a room until a day.
type GuestInvitation struct {
	ID    string
	Room  RoomID
	Home  HomeID // whose guests they are, and under whose limits
	Code  string
	Made  time.Time
	Until time.Time // when the code and its guests end
	Most  int       // how many may join by it
	Used  int       `json:",omitempty"`
}

// Bounds of a guest invitation.
const (
	// MostGuests is for how many guests one invitation can be.
	MostGuests   = 10
	longestGuest = 92 * 24 * time.Hour
	// GuestTurns is how many turns a guest may have at a time, within the limits of
	// the home.
	GuestTurns = 1
)

// The events about guests.
type (
	// InviteGuests makes the code.
	InviteGuests struct {
		By    PersonID
		ID    string
		Room  RoomID
		Home  HomeID
		Code  string
		Most  int
		Until time.Time
	}
	// DropGuestInvitation takes the code back; who joined by it stays.
	DropGuestInvitation struct {
		By PersonID
		ID string
	}
)

func (InviteGuests) peopleEvent()        {}
func (DropGuestInvitation) peopleEvent() {}

// Gone reports whether a guest's time is over.
func (p *Person) Gone(now time.Time) bool { return !p.Guest.IsZero() && !now.Before(p.Guest) }

// GuestByCode finds a guest invitation of a room; ok is false when there is none.
func (p *People) GuestByCode(room RoomID, code string) (GuestInvitation, bool) {
	for _, g := range p.Guests {
		if g.Room == room && SameCode(g.Code, code) {
			return g, true
		}
	}
	return GuestInvitation{}, false
}

func (s *peopleStep) inviteGuests(e InviteGuests) error {
	if _, err := s.home(e.Home); err != nil {
		return err
	}
	switch {
	case e.ID == "" || e.Room == "" || PlainCode(e.Code) == "":
		return Refuse(Invalid, "guest.bad", "An invitation of guests needs a room and a code.")
	case e.Most < 1 || e.Most > MostGuests:
		return Refuse(Invalid, "guest.most", "One invitation is for 1 to {most} guests.", "most", MostGuests)
	case !e.Until.After(s.now) || e.Until.After(s.now.Add(longestGuest)):
		return Refuse(Invalid, "guest.until", "Guests need a last day, within three months from now.")
	}
	s.dropGuests(func(g GuestInvitation) bool { return !s.now.Before(g.Until) })
	v := GuestInvitation{ID: e.ID, Room: e.Room, Home: e.Home, Code: e.Code, Made: s.now, Until: e.Until, Most: e.Most}
	s.putGuest(v)
	s.act(e.By, FactGuestInvited, AboutHome(e.Home), "")
	return nil
}

func (s *peopleStep) putGuest(v GuestInvitation) {
	s.next.Guests = put(s.next.Guests, v.ID, v)
	s.out.Put("guest-invitation", v.ID, v)
}

// dropGuests takes away the guest invitations that stale says.
func (s *peopleStep) dropGuests(stale func(GuestInvitation) bool) {
	s.next.Guests = dropStale(s, s.next.Guests, "guest-invitation", stale)
}

func (s *peopleStep) dropGuestInvitation(e DropGuestInvitation) {
	g, ok := s.next.Guests[e.ID]
	if !ok {
		return
	}
	s.dropGuests(func(g GuestInvitation) bool { return g.ID == e.ID })
	s.act(e.By, FactGuestsEnded, AboutHome(g.Home), "")
}

// joinAsGuest makes a guest of the home whose guests the code is for.
func (s *peopleStep) joinAsGuest(e JoinBuilding, g GuestInvitation) error {
	if g.Used >= g.Most || !s.now.Before(g.Until) {
		return Refuse(NotAllowed, "join.over", "This code has run out. Ask the building manager for the new one.")
	}
	if e.Expires.After(g.Until) {
		e.Expires = g.Until
	}
	g.Used++
	s.putGuest(g)
	return s.admit(e, Person{Home: g.Home, Guest: g.Until})
}

// setInvitation gives a room a new code (at the first start, or by a manager).
func (s *peopleStep) setInvitation(e SetInvitation) error {
	switch {
	case PlainCode(e.Code) == "":
		return Refuse(Invalid, "invitation.code", "An invitation needs a code with letters.")
	case e.Most < 0 || e.Most > 10_000:
		return Refuse(Invalid, "invitation.most", "An invitation can be for up to 10000 people, or 0 for any number.")
	case !e.Expires.IsZero() && !e.Expires.After(s.now):
		return Refuse(Invalid, "invitation.until", "The last day of an invitation must be ahead.")
	}
	s.putInvitation(Invitation{Room: e.Room, Code: e.Code, Made: s.now, Most: e.Most, Expires: e.Expires})
	s.act(e.By, FactInvitation, AboutRoom(e.Room), "")
	return nil
}
