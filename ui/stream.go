package ui

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

const (
	// heartbeat is how often a stream says that it lives: proxies cut what is
	// silent for a minute or less, and a page that hears no beat opens another.
	heartbeat = 20 * time.Second
	// writeWithin is how long a client may take to accept an update.
	writeWithin = 15 * time.Second
)

// event writes an event of a stream (the WHATWG HTML standard, server-sent
// events): each line of data has its own field.
func event(name, id string, data []byte) []byte {
	var b bytes.Buffer
	b.WriteString("event: " + name + "\nid: " + id + "\n")
	for line := range bytes.SplitSeq(data, []byte("\n")) {
		b.WriteString("data: ")
		b.Write(bytes.TrimRight(line, "\r"))
		b.WriteByte('\n')
	}
	b.WriteByte('\n')
	return b.Bytes()
}

// events is the handler of a room's stream. It never keeps the echo context
// past its own end, and reads the person anew for each update: a session may end.
func (s *Server) events(c echo.Context) error {
	room := coordinator.RoomID(param(c, "room"))
	h := s.hubs[room]
	if h == nil {
		return echo.ErrNotFound
	}
	key := limitKey(c.RealIP())
	if !s.streams.enter(key) {
		return &statusError{http.StatusServiceUnavailable, "too-many-pages", "Too many pages are open from here to keep all of them current.", nil}
	}
	defer s.streams.leave(key)
	head := c.Response().Header()
	head.Set("Content-Type", "text/event-stream")
	head.Set("Cache-Control", "no-store")
	head.Set("X-Accel-Buffering", "no") // a common proxy would hold events back
	c.Response().WriteHeader(http.StatusOK)
	st := &stream{
		s: s, room: room, rc: http.NewResponseController(c.Response()), w: c.Response(),
		wall: c.QueryParam("as") == "wall", hash: sessionHash(c, s.cookies.resident),
		last: c.Request().Header.Get("Last-Event-ID"),
	}
	st.lang = s.lang(c)
	if last := c.QueryParam("last"); last != "" {
		st.last = last
	}
	return st.run(c.Request().Context(), h)
}

// stream is one open page.
type stream struct {
	s    *Server
	room coordinator.RoomID
	rc   *http.ResponseController
	w    http.ResponseWriter
	wall bool
	lang *words.Language
	hash string // of the resident's cookie

	known bool   // the cookie was somebody's when last looked
	last  string // id of the scene that the page has
	sent  bool   // something was sent: mine and own say what
	mine  []byte // panel last sent
	own   bool   // the board last sent had marks of the visitor's own
}

// run sends the room as it is, then every update, until the page or the server goes.
func (st *stream) run(ctx context.Context, h *hub) error {
	// The server's time-outs are for requests that end.
	if err := st.rc.SetReadDeadline(time.Time{}); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return nil
	}
	wake := h.join()
	defer h.leave(wake)
	st.known = st.s.personOf(st.hash) != nil
	if st.write(st.s.beat()) != nil || st.update() != nil {
		return nil
	}
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	for {
		var err error
		select {
		case <-ctx.Done():
			return nil
		case <-st.s.closing:
			return nil
		case <-wake:
			err = st.news(st.update)
		case <-beat.C:
			err = st.news(func() error { return st.write(st.s.beat()) })
		}
		if err != nil {
			return nil // The page is gone, or is nobody's any more; there is nobody to tell.
		}
	}
}

// errOver ends a stream whose session has ended.
var errOver = errors.New("the session has ended")

// news sends something, unless the session that the page was somebody's by has
// ended: the page then opens another stream, as a stranger's.
func (st *stream) news(send func() error) error {
	was := st.known
	if st.known = st.s.personOf(st.hash) != nil; was && !st.known {
		return errOver
	}
	return send()
}

// beat tells a page that its stream lives, and which styles and scripts this
// server has: a page made with others loads itself anew. It has no id, so the
// page's last one stays.
func (s *Server) beat() []byte { return []byte("event: beat\ndata: " + s.assets.sum + "\n\n") }

// update sends what differs from what the page has.
func (st *stream) update() error {
	sc := st.s.scenes.get(st.room, st.lang)
	if sc == nil {
		return errors.New("the room is gone")
	}
	if st.wall {
		if sc.id == st.last {
			return st.write([]byte(": nothing new\n\n"))
		}
		st.last = sc.id
		return st.write(event("wall", sc.id, sc.wall()))
	}
	own := ownershipOf(sc.snap, st.s.personOf(st.hash))
	var out []byte
	switch {
	case sc.id == st.last && own == nil && (st.sent && !st.own || st.hash == ""):
		out = []byte(": nothing new\n\n")
	case own == nil:
		out = sc.frame
	default:
		out = event("board", sc.id, sc.board(own))
	}
	panel := st.s.minePanel(sc, own, nil)
	if !bytes.Equal(panel, st.mine) || (!st.sent && st.hash != "") {
		out = append(out[:len(out):len(out)], event("mine", sc.id, panel)...)
	}
	st.last, st.sent, st.own, st.mine = sc.id, true, own != nil, panel
	return st.write(out)
}

// write sends with a deadline: a phone that went out of reach must not hold on.
func (st *stream) write(data []byte) error {
	err := st.rc.SetWriteDeadline(time.Now().Add(writeWithin))
	if err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	if _, err := st.w.Write(data); err != nil {
		return err
	}
	return st.rc.Flush()
}

// minePanel renders the visitor's panel; empty when nothing is theirs.
func (s *Server) minePanel(sc *scene, own *ownership, p *problem) []byte {
	v := sc.mine(own)
	if v == nil && p == nil {
		return nil
	}
	if v == nil {
		v = &mineView{Room: sc.snap.Room}
	}
	v.Problem = p
	return sc.views.fragment("mine", v)
}
