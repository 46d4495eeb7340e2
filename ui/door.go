package ui

import "net/http"

// Door is a handler that lets a browser in with a session made elsewhere, and
// sends it on to a page: for demonstrations, where nobody is to sign in first.
// Whoever opens it is in, so it belongs on a loopback address only.
func (s *Server) Door(secret string, manager bool, page string) http.Handler {
	name := s.cookies.resident
	if manager {
		name = s.cookies.manager
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		http.SetCookie(w, s.cookie(name, secret, managerDays))
		http.Redirect(w, r, s.base+page, http.StatusSeeOther)
	})
}
