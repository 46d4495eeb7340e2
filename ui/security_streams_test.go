package ui

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

// tapped is an event stream that runs until it is told to stop, or ends by itself.
type tapped struct {
	*httptest.ResponseRecorder
	stop  func()
	ended chan struct{}
}

// tap opens a room's stream with a cookie, from an address. It runs in a bubble.
func (o *office) tap(path, cookie, address string, header http.Header) *tapped {
	a := get(path)
	a.header = header
	r := a.request()
	if cookie != "" {
		r.AddCookie(&http.Cookie{Name: "__Host-drumturn", Value: cookie})
	}
	ctx, cancel := context.WithCancel(context.Background())
	r = r.WithContext(ctx)
	r.RemoteAddr = address
	s := &tapped{httptest.NewRecorder(), cancel, make(chan struct{})}
	go func() {
		defer close(s.ended)
		o.Handler().ServeHTTP(s, r)
	}()
	synctest.Wait()
	return s
}

// over reports whether it has ended.
func (s *tapped) over() bool {
	select {
	case <-s.ended:
		return true
	default:
		return false
	}
}

// ownWords are what only Dan's own stream says: the sixth turn and its buttons are his.
var ownWords = []string{"Your turn", "/r/cellar/turns/6"}

// personalPart is what a stream has said of Dan.
func (s *tapped) personalPart() (found []string) {
	synctest.Wait()
	for _, words := range append(ownWords, "Secretname", "secret-of") {
		if strings.Contains(s.Body.String(), words) {
			found = append(found, words)
		}
	}
	return found
}

// TestSecurityStreams: what is personal goes to its session only, ends with it, and
// streams are counted.
func TestSecurityStreams(t *testing.T) {
	tr := try(t, "event streams")
	synctest.Test(t, func(t *testing.T) {
		o := target(t, nil)
		o.resident("zoe", "h99")
		own := o.tap("/r/cellar/events", "secret-of-dan", "192.0.2.1:1", nil)
		defer own.stop()
		if found := own.personalPart(); len(found) < len(ownWords) {
			t.Fatalf("Dan's own stream has only %v of him: the test looks for the wrong words", found)
		}
		for who, cookie := range map[string]string{
			"nobody": "", "a neighbour": "secret-of-zoe", "a manager's cookie": "secret-of-ada", "a made-up cookie": "secret-of-nobody",
			"the stored hash of Dan's": hashSecret("secret-of-dan"), "a very long cookie": strings.Repeat("x", 5000),
		} {
			for _, path := range []string{"/r/cellar/events", "/r/cellar/events?as=wall", "/r/cellar/events?last=1.1.1", "/r/cellar/events?who=dan&person=dan&hash=" + hashSecret("secret-of-dan")} {
				s := o.tap(path, cookie, "192.0.2.2:1", nil)
				o.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-1) })
				time.Sleep(2 * time.Second)
				found := s.personalPart()
				s.stop()
				if len(found) > 0 || s.Code != 200 {
					tr.row(false, "the stream of "+who+" at "+path, "%d, has %v", s.Code, found)
				}
			}
		}
		tr.row(true, "streams of nobody, of a neighbour, with a manager's cookie, a stored hash, an invented one; as wall, with a person's id in the address", "nothing of anybody else's")
	})
}

// TestSecurityStreamsEnd: signing out, being put out by a manager, deleting one's data
// and the session's own end stop the streams that are open, at the next beat at the latest.
func TestSecurityStreamsEnd(t *testing.T) {
	tr := try(t, "event streams")
	for how, end := range map[string]func(*office){
		"signing out":            func(o *office) { post("/me/sign-out").as("secret-of-dan", "").of(o.Server) },
		"deleting one's data":    func(o *office) { post("/me/forget", "sure", "yes").as("secret-of-dan", "").of(o.Server) },
		"the end of the session": func(o *office) { o.now = o.now.AddDate(1, 0, 1) },
		"a manager's Forget": func(o *office) {
			post("/manager/people", "do", "forget", "id", "dan", "sure", "yes").as("", "secret-of-ada").of(o.Server)
		},
		"a session that is no more": func(o *office) { delete(o.people.Sessions, hashSecret("secret-of-dan")) },
	} {
		synctest.Test(t, func(t *testing.T) {
			o := target(t, nil)
			own, other := o.tap("/r/cellar/events", "secret-of-dan", "192.0.2.1:1", nil), o.tap("/r/cellar/events", "", "192.0.2.1:2", nil)
			defer own.stop()
			defer other.stop()
			time.Sleep(3 * heartbeat)
			synctest.Wait()
			if own.over() || other.over() {
				t.Fatal("a stream ends by itself")
			}
			end(o)
			if o.personOf(hashSecret("secret-of-dan")) != nil {
				t.Fatalf("%s ends no session: the test is wrong", how)
			}
			before := own.Body.Len()
			time.Sleep(heartbeat)
			synctest.Wait()
			tr.row(own.over() && own.Body.Len() == before && !other.over(), how+", with the room open", "the stream ends within 20 s and says nothing more; others' go on (ended %v, %v)", own.over(), other.over())
		})
	}
}

// TestSecurityStreamsAreCounted: by address, whatever it says of itself; an IPv6 host
// has a whole /64.
func TestSecurityStreamsAreCounted(t *testing.T) {
	tr := try(t, "event streams")
	for name, c := range map[string]struct {
		address func(i int) string
		trusted bool
		most    int
	}{
		"one address":                               {func(int) string { return "203.0.113.7" }, false, 3},
		"one address that pretends to be others":    {func(int) string { return "" }, false, 3},
		"visitors behind the proxy that is trusted": {func(int) string { return "" }, true, 8},
		"an IPv6 host with its many addresses":      {func(i int) string { return "[2001:db8::" + string(rune('1'+i)) + "]" }, false, 3},
	} {
		synctest.Test(t, func(t *testing.T) {
			o := target(t, func(opt *Options) {
				opt.StreamsPerIP, opt.Streams = 3, 8
				if c.trusted {
					opt.TrustedProxies = []netip.Prefix{netip.MustParsePrefix("192.0.2.0/24")}
				}
			})
			open := 0
			for i := range 20 {
				address, header := c.address(i%9), http.Header{}
				if address == "" {
					address = "192.0.2.9"
					header = http.Header{"X-Forwarded-For": {"198.51.100." + string(rune('1'+i%9))}}
				}
				s := o.tap("/r/cellar/events", "", address+":4000", header)
				defer s.stop()
				if s.Code == http.StatusOK {
					open++
				}
			}
			tr.row(open == c.most, name+", 20 streams where 3 each and 8 in all may be", "%d are open", open)
		})
	}
}
