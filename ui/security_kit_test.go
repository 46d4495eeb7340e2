package ui

import (
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/ui/specimen"
)

// The files security_*_test.go try what an attacker would, and log a table of it:
//
//	go test ./ui -run TestSecurity -v | grep '|'
//
// DEVELOPERS.md has the table as it came out.

// trials are the lines of one test's table.
type trials struct {
	*testing.T
	lines []string
}

// try opens a table; it is logged at the end of the test.
func try(t *testing.T, kind string) *trials {
	tr := &trials{T: t}
	t.Cleanup(func() {
		for _, line := range tr.lines {
			t.Logf("| %s | %s", kind, line)
		}
	})
	return tr
}

// row notes what was tried and what happened, and fails when that is bad.
func (t *trials) row(good bool, what, happened string, args ...any) {
	t.Helper()
	happened = fmt.Sprintf(happened, args...)
	t.lines = append(t.lines, what+" | "+happened+" |")
	if !good {
		t.Errorf("%s: %s", what, happened)
	}
}

// target is a building with everything that can be attacked: residents, two
// managers, guests, the figures and the past of the specimens.
func target(t *testing.T, change func(*Options)) *office {
	o := openOffice(t, func(opt *Options) {
		opt.Letters, opt.Past, opt.Facts, opt.Report = specimen.Letters{}, specimen.Past{}, specimen.Past{}.Facts, specimen.Report
		if change != nil {
			change(opt)
		}
	})
	o.resident("dan", "h6")
	o.people.Guests = map[string]coordinator.GuestInvitation{"g": {ID: "g", Room: "cellar", Home: "h6", Code: "GUES-T234", Until: noon.AddDate(0, 0, 2), Most: 1}}
	return o
}

// fill puts something into the parts of a route's path that are not fixed.
func fillRoute(path string) string {
	return strings.NewReplacer(":room", "cellar", ":machine", "w2", ":turn", "6", ":load", "8", ":cycle", "361", ":file", "use-by-room.csv", ":sum", "0").Replace(path)
}

// from sends a request from an address of the network.
func (o *office) from(address string, a ask) *httptest.ResponseRecorder {
	r := a.request()
	r.RemoteAddr = address + ":4000"
	w := httptest.NewRecorder()
	o.Handler().ServeHTTP(w, r)
	return w
}

// stored counts what was told to the people and the rooms.
func (o *office) stored() int { return len(o.peopleEv) + len(o.fakeHouse.events()) }

// refused reports whether an answer gives nothing away and does nothing.
func refusedAnswer(w *httptest.ResponseRecorder) bool {
	return w.Code >= 400 && w.Code < 500 && len(w.Result().Cookies()) == 0
}
