package coordinator

import "time"

// Session is a browser's cookie. Its key is the SHA-256 of the cookie, in hex.
type Session struct {
	Hash   string
	Person PersonID
	Made   time.Time
	// Expires is when it ends, however much it is used; after Idle without use it
	// ends before that. 0: it does not.
	Expires time.Time
	Idle    time.Duration `json:",omitempty"`
	// Seen is when it was last used, to some minutes; zero: not since Made.
	Seen time.Time `json:",omitzero"`
	// Device is the kind of browser, such as "firefox android"; Where the network
	// address that it was last used from. Kept of managers only.
	Device string `json:",omitempty"`
	Where  string `json:",omitempty"`
}

// NewSession is what an event that opens a session says of it.
type NewSession struct {
	SessionHash   string
	Expires       time.Time
	Idle          time.Duration
	Device, Where string
}

// LastSeen is when the session was last used.
func (v *Session) LastSeen() time.Time {
	if v.Seen.IsZero() {
		return v.Made
	}
	return v.Seen
}

// Over reports whether the session has ended.
func (v *Session) Over(now time.Time) bool {
	return !now.Before(v.Expires) || v.Idle > 0 && !now.Before(v.LastSeen().Add(v.Idle))
}

// The events about sessions.
type (
	// SignOut ends a session.
	SignOut struct{ SessionHash string }
	// SawSession notes that a session is used.
	SawSession struct{ SessionHash, Where string }
	// EndSession ends one session of a person, on whichever browser.
	EndSession struct {
		Person PersonID
		Hash   string
	}
	// SignOutOthers ends every session of a person but one, and forgets their
	// devices: a lost phone is told nothing more.
	SignOutOthers struct {
		Person PersonID
		Keep   string // hash of the session that stays
	}
)

func (SignOut) peopleEvent()       {}
func (SawSession) peopleEvent()    {}
func (EndSession) peopleEvent()    {}
func (SignOutOthers) peopleEvent() {}

// SessionPerson finds whose session has the hash; ok is false when there is none or it ran out.
func (p *People) SessionPerson(hash string, now time.Time) (Person, bool) {
	s, ok := p.Sessions[hash]
	if !ok || s.Over(now) {
		return Person{}, false
	}
	person, ok := p.Persons[s.Person]
	return person, ok && !person.Gone(now)
}

// NotedLately reports whether a use of the session now need not be noted.
func (p *People) NotedLately(hash string, now time.Time) bool {
	v, ok := p.Sessions[hash]
	return !ok || v.Idle == 0 || now.Sub(v.LastSeen()) < seenEvery
}

// openSession opens a session of a person.
func (s *peopleStep) openSession(who PersonID, e NewSession) {
	if e.SessionHash == "" {
		return
	}
	s.putSession(Session{Hash: e.SessionHash, Person: who, Made: s.now, Expires: e.Expires, Idle: e.Idle, Device: e.Device, Where: e.Where})
}

// sawSession moves the end that idleness brings.
func (s *peopleStep) sawSession(e SawSession) {
	v, ok := s.next.Sessions[e.SessionHash]
	if !ok || v.Over(s.now) || s.next.NotedLately(e.SessionHash, s.now) {
		return
	}
	v.Seen, v.Where = s.now, e.Where
	s.next.Sessions = put(s.next.Sessions, v.Hash, v)
	s.out.Put("session", v.Hash, v)
}

func (s *peopleStep) signOut(e SignOut) {
	v, ok := s.next.Sessions[e.SessionHash]
	s.dropSession(e.SessionHash)
	if ok && s.next.Persons[v.Person].Manager {
		s.fact(Fact{Kind: FactSignedOut, Person: v.Person})
	}
}

func (s *peopleStep) endSession(e EndSession) error {
	if v, ok := s.next.Sessions[e.Hash]; !ok || v.Person != e.Person {
		return Refuse(NotFound, "session.gone", "That browser is signed out already.")
	}
	s.dropSession(e.Hash)
	if s.next.Persons[e.Person].Manager {
		s.fact(Fact{Kind: FactSessionsEnded, Person: e.Person, Note: "one"})
	}
	return nil
}

// signOutOthers leaves a person the one browser that they use now.
func (s *peopleStep) signOutOthers(e SignOutOthers) error {
	s.leaveOnly(e.Person, e.Keep)
	for _, sub := range s.next.Devices(e.Person) {
		s.dropSubscription(sub.ID)
	}
	s.dropPasses(func(p Pass) bool { return p.Person == e.Person })
	if s.next.Persons[e.Person].Manager {
		s.fact(Fact{Kind: FactSessionsEnded, Person: e.Person, Note: "others"})
	}
	return nil
}

// leaveOnly ends a person's sessions but one, and no browser passes the limits
// on guessing any more because it was known.
func (s *peopleStep) leaveOnly(who PersonID, keep string) {
	s.dropSessions(func(v Session) bool { return v.Person == who && v.Hash != keep })
	if way, ok := s.next.WaysIn[who]; ok && len(way.Known) > 0 {
		way.Known = nil
		s.putWayIn(way)
	}
}
