package ui

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

func TestWaitingWords(t *testing.T) {
	turn := func(need queue.Need, state queue.State) queue.Turn { return queue.Turn{Need: need, State: state} }
	cases := []struct {
		turns []queue.Turn
		want  string
	}{
		{nil, "Nobody waits."},
		{[]queue.Turn{turn(queue.Wash, queue.Called), turn(queue.Dry, queue.Started)}, "Nobody waits."},
		{[]queue.Turn{turn(queue.Dry, queue.Waiting)}, "One turn waits: 1 for a dryer."},
		{[]queue.Turn{turn(queue.Wash, queue.Waiting), turn(queue.WashAndDry, queue.Waiting), turn(queue.Wash, queue.Waiting)},
			"3 turns wait: 2 for a washer, 1 for a washer-dryer."},
	}
	for _, c := range cases {
		if got := englishAt(noon).waiting(&coordinator.Snapshot{Turns: c.turns}); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// TestPlaces: places count among those who want the same; who is behind
// decides whether "let the next one go first" is offered.
func TestPlaces(t *testing.T) {
	snap := &coordinator.Snapshot{Turns: []queue.Turn{
		{ID: 1, Need: queue.Wash, State: queue.Called},
		{ID: 2, Need: queue.Dry, State: queue.Waiting},
		{ID: 3, Need: queue.Wash, State: queue.Waiting},
		{ID: 4, Need: queue.Dry, State: queue.Waiting},
		{ID: 5, Need: queue.WashAndDry, State: queue.Called},
	}}
	cases := []struct {
		id     coordinator.TurnID
		place  int
		behind bool
	}{{1, 1, true}, {2, 1, true}, {3, 1, false}, {4, 2, false}, {5, 1, false}}
	for _, c := range cases {
		turn := snap.Turn(c.id)
		if got := place(snap, turn); got != c.place {
			t.Errorf("turn %d: place %d, want %d", c.id, got, c.place)
		}
		if got := hasBehind(snap, turn); got != c.behind {
			t.Errorf("turn %d: somebody behind: %v", c.id, got)
		}
	}
}

func TestServes(t *testing.T) {
	yes := map[string]bool{
		"washer wash": true, "dryer dry": true, "washer-dryer wash": true, "washer-dryer dry": true, "washer-dryer wash-and-dry": true,
	}
	for _, k := range []queue.Kind{queue.Washer, queue.Dryer, queue.WasherDryer} {
		for _, n := range []queue.Need{queue.Wash, queue.Dry, queue.WashAndDry} {
			if got := serves(k, n); got != yes[k.String()+" "+n.String()] {
				t.Errorf("a %s serves %s: %v", k, n, got)
			}
		}
	}
	if serves(queue.Washer, 0) || needWord(words.English(), 0) != "a machine" {
		t.Error("a need that does not exist is served")
	}
}

func TestWhatVisitorsMaySee(t *testing.T) {
	cases := []struct {
		err    error
		status int
		known  bool
	}{
		{coordinator.Refuse(coordinator.NotFound, "k", "Gone."), 404, true},
		{fmt.Errorf("deep: %w", fmt.Errorf("down: %w", tooMany)), 429, true},
		{echo.ErrNotFound, 404, true},
		{fmt.Errorf("wrapped: %w", echo.ErrMethodNotAllowed), 405, true},
		{echo.NewHTTPError(500, "secret detail"), 500, false},
		{errors.New("secret detail"), 500, false},
	}
	for _, c := range cases {
		status, text, known := refusal(words.English(), c.err)
		if status != c.status || known != c.known || text == "" || strings.Contains(text, "secret") {
			t.Errorf("%v: %d %q %v", c.err, status, text, known)
		}
	}
}

func TestLoopback(t *testing.T) {
	for host, want := range map[string]bool{
		"localhost": true, "localhost:8080": true, "127.0.0.1": true, "127.8.8.8:1": true, "[::1]:8080": true, "a.localhost": true,
		"laundry.lan": false, "192.168.1.5:8080": false, "localhost.example": false, "": false, "[fe80::1]": false,
	} {
		if got := loopback(host); got != want {
			t.Errorf("%q: %v", host, got)
		}
	}
}

// TestServeSaysWhyItEnds when its socket does not work.
func TestServeSaysWhyItEnds(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ln.Close()
	s := newTestServer(t, newFakeHouse(smallRoom()), nil)
	if err := s.Serve(context.Background(), ln); err == nil || errors.Is(err, http.ErrServerClosed) {
		t.Errorf("%v", err)
	}
	select {
	case <-s.closing:
	default:
		t.Error("the streams go on")
	}
	s.Close() // Twice is harmless.
}

// TestARoomThatGoes ends its streams instead of failing in them.
func TestARoomThatGoes(t *testing.T) {
	h := newFakeHouse(smallRoom())
	s := newTestServer(t, h, nil)
	delete(h.rooms, "attic")
	st := &stream{s: s, room: "attic", rc: http.NewResponseController(brokenWriter{}), w: brokenWriter{}}
	if err := st.update(); err == nil {
		t.Error("a room that is gone was drawn")
	}
	if w := get("/r/attic").of(s); w.Code != http.StatusNotFound {
		t.Errorf("%d", w.Code)
	}
}

func TestTheChosenWishesAreKept(t *testing.T) {
	v := takeForm(testScene(t, fullRoom()))
	if v.Wished() {
		t.Error("wishes are open before anything was chosen")
	}
	v.Problem = &problem{Typed: form{"min-kg": "7"}}
	if !v.Was("min-kg", 7.0) || v.Was("min-kg", 8.0) || !v.Wished() {
		t.Error("the size is lost")
	}
	v.Problem = &problem{Typed: form{"dry-after": "yes"}}
	if !v.Was("dry-after", "yes") || v.Wished() {
		t.Error("what is not folded is open to sight")
	}
}

func TestUnknownPagesAreAnError(t *testing.T) {
	s := newTestServer(t, newFakeHouse(smallRoom()), nil)
	c := s.echo.NewContext(get("/").request(), nil)
	if err := s.render(c, 200, "no such page", nil); err == nil {
		t.Error("rendered")
	}
	defer func() {
		if recover() == nil {
			t.Error("a fragment that does not exist was rendered")
		}
	}()
	s.tongues[words.English()].fragment("no such part", nil)
}

func TestPercentages(t *testing.T) {
	for p, want := range map[pct]string{0: "0%", 12.5: "12.5%", 23.3333: "23.33%", 99.999: "100%", 100: "100%"} {
		if got := p.String(); got != want {
			t.Errorf("%v: %q, want %q", float64(p), got, want)
		}
	}
}

// TestCookiesOverTheNetwork: the names without prefix are used, and read back.
func TestCookiesOverTheNetwork(t *testing.T) {
	h := newFakeHouse(smallRoom())
	s := newTestServer(t, h, func(o *Options) { o.PublicURL = "http://laundry.lan:8080" })
	w := post("/r/attic/join", "code", "tidewater", "home", "4").of(s)
	a := get("/me")
	a.header = http.Header{"Cookie": {w.Result().Cookies()[0].Name + "=" + w.Result().Cookies()[0].Value}}
	if page := a.of(s).Body.String(); !strings.Contains(page, "Home 4.") {
		t.Error("the cookie is not read back")
	}
	public, _ := url.Parse("http://laundry.lan:8080")
	if k := cookiesFor(public, false); k.secure || k.resident == k.manager {
		t.Errorf("%+v", k)
	}
}

func TestLanguageIsKept(t *testing.T) {
	h := newFakeHouse(smallRoom())
	h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	post("/language", "lang", "en").as("secret-of-dan", "").of(s)
	if got := h.people.Persons["dan"].Lang; got != "en" {
		t.Errorf("%q", got)
	}
}

// TestARefusedManagersActIsSaid on the page, with the machine's name.
func TestARefusedManagersActIsSaid(t *testing.T) {
	h := newFakeHouse(smallRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	h.refuse = coordinator.Refuse(coordinator.Conflict, "k", "It is in service already.")
	w := post("/manager/r/attic/m/w1", "do", "put-back").as("", "secret-of-boss").of(s)
	if w.Code != 409 || !strings.Contains(said(w.Body.Bytes()), "Washer 1: It is in service already.") {
		t.Errorf("%d", w.Code)
	}
}
