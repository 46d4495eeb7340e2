package ui

import (
	"bufio"
	"context"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// message is an event as a browser takes it from a stream: the WHATWG HTML
// standard, section 9.2.6 (from memory): fields up to the colon, one space
// after it dropped, lines of data joined by newlines, a blank line ends it.
type message struct{ name, id, data string }

// messages reads a stream the standard's way, independently of how it is
// written, and leaves out the beats, which carry no news.
func messages(r io.Reader) <-chan message {
	out := make(chan message, 100)
	go func() {
		defer close(out)
		var m message
		var data []string
		lines := bufio.NewScanner(r)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			line := lines.Text()
			if line == "" {
				if data != nil && m.name != "beat" {
					m.data = strings.Join(data, "\n")
					out <- m
				}
				m, data = message{}, nil
				continue
			}
			name, value, _ := strings.Cut(line, ":")
			value = strings.TrimPrefix(value, " ")
			switch name {
			case "event":
				m.name = value
			case "id":
				m.id = value
			case "data":
				data = append(data, value)
			}
		}
	}()
	return out
}

// connect opens a room's stream as a person.
func connect(t *testing.T, address, path, who string) (<-chan message, *http.Response) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, address+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	if who != "" {
		r.AddCookie(&http.Cookie{Name: "__Host-drumturn", Value: "secret-of-" + who})
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { resp.Body.Close() })
	return messages(resp.Body), resp
}

// next waits for an event of the name; a stream that ends or stays silent
// fails the test.
func next(t *testing.T, from <-chan message, name string) message {
	t.Helper()
	deadline := time.After(patience)
	for {
		select {
		case m, ok := <-from:
			if !ok {
				t.Fatalf("the stream ended before %q", name)
			}
			if m.name == name {
				return m
			}
		case <-deadline:
			t.Fatalf("no event %q", name)
		}
	}
}

func TestStream(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("fay", "h8")
	s, address := serveReal(t, h, nil)
	public, resp := connect(t, address, "/r/cellar/events", "")
	if got := resp.Header.Get("Content-Type"); got != "text/event-stream" {
		t.Errorf("content type %q", got)
	}
	first := next(t, public, "board")
	sc := s.scenes.get("cellar", words.English())
	if first.id != sc.id || first.data != string(sc.public) {
		t.Errorf("the first event is not the room as it is: %s", first.data)
	}
	mine, _ := connect(t, address, "/r/cellar/events", "fay")
	if got := next(t, mine, "board"); !strings.Contains(got.data, "Your turn") {
		t.Error("the visitor's own turn is not on the board")
	}
	if got := next(t, mine, "mine"); !strings.Contains(got.data, "2nd in the queue") {
		t.Errorf("panel: %s", got.data)
	}
	wall, _ := connect(t, address, "/r/cellar/events?as=wall", "")
	if got := next(t, wall, "wall"); !strings.Contains(got.data, "13:47") || strings.Contains(got.data, "tidewater") {
		t.Errorf("wall: %s", got.data)
	}

	h.change("cellar", func(s *coordinator.Snapshot) {
		s.Machines[0].Status, s.Machines[0].Until = coordinator.Held, in(10)
		turn := s.Turn(8)
		turn.State, turn.Machine, turn.HoldUntil = queue.Called, "w1", in(10)
	})
	if got := next(t, public, "board"); !strings.Contains(got.data, "until 13:57") || got.id == first.id {
		t.Errorf("%s", got.data)
	}
	if got := next(t, mine, "mine"); !strings.Contains(got.data, "Your turn: Washer 1") {
		t.Errorf("%s", got.data)
	}
	if got := next(t, wall, "wall"); !strings.Contains(got.data, callWord(8)) {
		t.Errorf("%s", got.data)
	}
	h.change("cellar", func(s *coordinator.Snapshot) { s.Turns = nil })
	if got := next(t, mine, "mine"); strings.TrimSpace(got.data) != "" {
		t.Errorf("nothing is fay's any more, but: %s", got.data)
	}
}

// TestAPageThatIsCurrentGetsNothingTwice: the last event's id says what it has.
func TestAPageThatIsCurrentGetsNothingTwice(t *testing.T) {
	h := newFakeHouse(fullRoom())
	s, address := serveReal(t, h, nil)
	from, _ := connect(t, address, "/r/cellar/events?last="+s.scenes.get("cellar", words.English()).id, "")
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-1) })
	if got := next(t, from, "board"); !strings.Contains(got.data, "since 13:46") {
		t.Errorf("the page was sent what it had: %s", got.data)
	}
	stale, _ := connect(t, address, "/r/cellar/events?last=1.1.1", "")
	next(t, stale, "board")
}

// pipes is a listener and a dialer without a network, for tests in a bubble.
type pipes struct {
	conns chan net.Conn
	once  sync.Once
	done  chan struct{}
}

func newPipes() *pipes { return &pipes{conns: make(chan net.Conn), done: make(chan struct{})} }

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.conns:
		return c, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}
func (p *pipes) Close() error   { p.once.Do(func() { close(p.done) }); return nil }
func (p *pipes) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 80} }

func (p *pipes) dial(context.Context, string, string) (net.Conn, error) {
	server, client := net.Pipe()
	p.conns <- tcpLike{server}
	return client, nil
}

// tcpLike has an address as net/http expects it.
type tcpLike struct{ net.Conn }

func (tcpLike) RemoteAddr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 5000} }

// TestStreamsOutliveTheTimeouts: an hour of a quiet room through the server
// with its real time-outs, then a change. Heartbeats come all along.
func TestStreamsOutliveTheTimeouts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newFakeHouse(fullRoom())
		s := newTestServer(t, h, nil)
		ln := newPipes()
		ctx, cancel := context.WithCancel(context.Background())
		served := make(chan error, 1)
		go func() { served <- s.Serve(ctx, ln) }()
		client := &http.Client{Transport: &http.Transport{DialContext: ln.dial, DisableKeepAlives: true}}
		resp, err := client.Get("http://localhost/r/cellar/events")
		if err != nil {
			t.Fatal(err)
		}
		beats := &counting{r: resp.Body, of: "event: beat\ndata: " + s.assets.sum}
		from := messages(beats)
		if m := <-from; m.name != "board" {
			t.Fatalf("first came %+v", m)
		}
		time.Sleep(time.Hour)
		synctest.Wait()
		h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-1) })
		if m := <-from; !strings.Contains(m.data, "since 13:46") {
			t.Errorf("after an hour came %+v", m)
		}
		if n := beats.n.Load(); n < 179 || n > 181 {
			t.Errorf("%d heartbeats in an hour, want one at first and one in 20 s", n)
		}
		cancel()
		if err := <-served; err != nil {
			t.Error(err)
		}
		resp.Body.Close()
		for range from { // Ends with the stream.
		}
	})
}

// counting counts what it reads of a text; each comes whole, in a write of its own.
type counting struct {
	r  io.Reader
	of string
	n  atomic.Int64
}

func (c *counting) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n.Add(int64(strings.Count(string(p[:n]), c.of)))
	return n, err
}

// TestShutdownDoesNotWaitForStreams: open pages end first, and Serve returns
// long before its grace is over.
func TestShutdownDoesNotWaitForStreams(t *testing.T) {
	h := newFakeHouse(fullRoom())
	s := newTestServer(t, h, nil)
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, ln) }()
	var open []<-chan message
	for range 5 {
		from, _ := connect(t, "http://"+ln.Addr().String(), "/r/cellar/events", "")
		next(t, from, "board")
		open = append(open, from)
	}
	cancel()
	select {
	case err := <-done:
		if err != nil {
			t.Errorf("serve: %v", err)
		}
	case <-time.After(shutdownTimeout - time.Second):
		t.Fatal("the server waits for its streams")
	}
	for _, from := range open {
		for range from { // Drains, and ends because the stream did.
		}
	}
	if h.watching() != 0 {
		t.Errorf("%d still watch", h.watching())
	}
}

func TestTooManyStreams(t *testing.T) {
	h := newFakeHouse(fullRoom())
	_, address := serveReal(t, h, func(o *Options) { o.StreamsPerIP = 2 })
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	for i, want := range []int{200, 200, 503} {
		r, _ := http.NewRequestWithContext(ctx, http.MethodGet, address+"/r/cellar/events", nil)
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		if resp.StatusCode != want {
			t.Errorf("stream %d: %d, want %d", i+1, resp.StatusCode, want)
		}
	}
}

// TestStreamsLeaveNothingBehind: a hundred pages come and go.
func TestStreamsLeaveNothingBehind(t *testing.T) {
	h := newFakeHouse(fullRoom())
	s, address := serveReal(t, h, nil)
	for range 100 {
		ctx, cancel := context.WithCancel(context.Background())
		r, _ := http.NewRequestWithContext(ctx, http.MethodGet, address+"/r/cellar/events", nil)
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		next(t, messages(resp.Body), "board")
		cancel()
		resp.Body.Close()
	}
	for s.hubs["cellar"].count() > 0 || h.watching() > 0 {
		runtime.Gosched() // The test's own time-out ends this if one stays.
	}
	if s.streams.enter("x"); s.streams.all != 1 {
		t.Errorf("%d streams are counted", s.streams.all)
	}
}

// count is how many streams a hub has.
func (h *hub) count() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.subs)
}

// TestEventKeepsItsData: whatever lines the data has, the standard's reader
// gets them back (a carriage return is no part of our pages).
func TestEventKeepsItsData(t *testing.T) {
	for _, data := range []string{"", "one", "one\ntwo", "\n\nthree\n", ": colon", "data: x\n\nevent: y"} {
		m, ok := <-messages(strings.NewReader(string(event("board", "7.1", []byte(data)))))
		if !ok || m.data != data || m.name != "board" || m.id != "7.1" {
			t.Errorf("%q came back as %+v", data, m)
		}
	}
}

// brokenWriter is a page that went away.
type brokenWriter struct{ http.ResponseWriter }

func (brokenWriter) Write([]byte) (int, error)        { return 0, errors.New("gone") }
func (brokenWriter) Header() http.Header              { return http.Header{} }
func (brokenWriter) WriteHeader(int)                  {}
func (brokenWriter) Flush()                           {}
func (brokenWriter) SetWriteDeadline(time.Time) error { return nil }
func (brokenWriter) SetReadDeadline(time.Time) error  { return nil }

// TestAPageThatWentAwayEndsItsStream at the first write that fails.
func TestAPageThatWentAwayEndsItsStream(t *testing.T) {
	h := newFakeHouse(fullRoom())
	s := newTestServer(t, h, nil)
	w := brokenWriter{}
	st := &stream{s: s, room: "cellar", rc: http.NewResponseController(w), w: w}
	if err := st.run(context.Background(), s.hubs["cellar"]); err != nil {
		t.Error(err)
	}
	if n := s.hubs["cellar"].count(); n != 0 {
		t.Errorf("%d streams stay", n)
	}
}

func BenchmarkTellFiveThousand(b *testing.B) {
	h := newHub(newFakeHouse(fullRoom()), "cellar")
	for range 5000 {
		h.subs[make(chan struct{}, 1)] = struct{}{}
	}
	for b.Loop() {
		h.tell()
	}
}

// TestStreamOverHTTP2: with TLS, browsers share one connection for all.
func TestStreamOverHTTP2(t *testing.T) {
	h := newFakeHouse(fullRoom())
	s := newTestServer(t, h, nil)
	srv := httptest.NewUnstartedServer(s.Handler())
	srv.EnableHTTP2 = true
	srv.Config.ErrorLog = log.New(io.Discard, "", 0)
	srv.StartTLS()
	defer srv.Close()
	defer s.Close()
	resp, err := srv.Client().Get(srv.URL + "/r/cellar/events")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.ProtoMajor != 2 {
		t.Errorf("over %s", resp.Proto)
	}
	from := messages(resp.Body)
	next(t, from, "board")
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-1) })
	if got := next(t, from, "board"); !strings.Contains(got.data, "since 13:46") {
		t.Errorf("%s", got.data)
	}
}
