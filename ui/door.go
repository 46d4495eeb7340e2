package ui

import "net/http"

// Session is one of the kinds of session that a browser can hold.
type Session int

// A browser is a resident's, a manager's, the screen's in the room while
// somebody stands there, or all of these.
const (
	ResidentSession Session = iota
	ManagerSession
	ScreenSession
)

// name is the cookie that holds a kind of session.
func (k cookieKind) name(s Session) string { return [...]string{k.resident, k.manager, k.wall}[s] }

// Door is a handler that lets a browser in with a session made elsewhere, and
// sends it on to a page: for demonstrations, where nobody is to sign in first.
// Whoever opens it is in, so it belongs on a loopback address only.
func (s *Server) Door(secret string, kind Session, page string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		http.SetCookie(w, s.cookie(s.cookies.name(kind), secret, managerDays))
		http.Redirect(w, r, s.base+page, http.StatusSeeOther)
	})
}

// OnlyDoor is Door for a browser that is to have no other session.
func (s *Server) OnlyDoor(secret string, kind Session, page string) http.Handler {
	door := s.Door(secret, kind, page)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for _, other := range []Session{ResidentSession, ManagerSession, ScreenSession} {
			if other != kind {
				http.SetCookie(w, s.cookie(s.cookies.name(other), "", 0))
			}
		}
		door.ServeHTTP(w, r)
	})
}
