package api

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"time"

	"drumturn/coordinator"
)

const (
	// heartbeat is how often a stream that is silent says that it lives.
	heartbeat = 20 * time.Second
	// writeWithin is how long a client may take to accept what is sent.
	writeWithin = 15 * time.Second
	// pageOfEvents is how many are read at a time.
	pageOfEvents = 200
)

// events streams a room's events (the WHATWG HTML standard, server-sent events).
// Whoever gives the id of the last one that they have gets what came after it,
// whenever that was; without, the stream begins now.
func (s *Server) events(w http.ResponseWriter, r *http.Request, t *coordinator.Token) error {
	snap, err := s.snapshot(r)
	if err != nil {
		return err
	}
	last := r.Header.Get("Last-Event-ID")
	if last == "" {
		last = r.URL.Query().Get("after")
	}
	after, err := coordinator.ParseFactID(last)
	if err != nil {
		return err
	}
	if !s.limits.enter(t.ID) {
		tooMany(w)
		return nil
	}
	defer s.limits.leave(t.ID)
	st := &stream{s: s, room: snap.Room, token: t.Hash, after: after, w: w, rc: http.NewResponseController(w)}
	if after.IsZero() {
		st.after = coordinator.FactID{At: s.o.House.Now()}
	}
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("X-Accel-Buffering", "no") // a common proxy would hold events back
	w.WriteHeader(http.StatusOK)
	st.run(r.Context())
	return nil
}

// stream is one program that listens.
type stream struct {
	s     *Server
	room  coordinator.RoomID
	token string // its hash: a token may be revoked meanwhile
	after coordinator.FactID
	w     http.ResponseWriter
	rc    *http.ResponseController
}

// run sends until the client goes, the token is revoked, or the server closes.
func (st *stream) run(ctx context.Context) {
	changed, stop := st.s.o.House.Watch(st.room)
	defer stop()
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	if !st.write([]byte(": begins\n\n")) {
		return
	}
	for {
		if _, holds := st.s.o.House.People().TokenByHash(st.token); !holds || !st.catchUp(ctx) {
			return
		}
		select {
		case <-ctx.Done():
			return
		case <-st.s.closing:
			return
		case <-changed:
		case <-beat.C:
			if !st.write([]byte(": lives\n\n")) {
				return
			}
		}
	}
}

// catchUp sends what is new; false when the stream is over.
func (st *stream) catchUp(ctx context.Context) bool {
	for {
		facts, err := st.s.o.FactsAfter(ctx, st.room, st.after, pageOfEvents)
		if err != nil {
			if ctx.Err() == nil {
				st.s.o.Log.Error("events could not be read", "room", string(st.room), "err", err)
			}
			return false
		}
		var b bytes.Buffer
		for i := range facts {
			st.after = facts[i].ID
			if ev, ok := facts[i].Public(st.room); ok {
				writeEvent(&b, &ev)
			}
		}
		if b.Len() > 0 && !st.write(b.Bytes()) {
			return false
		}
		if len(facts) < pageOfEvents {
			return true
		}
	}
}

// writeEvent writes one event. Its data is one line: JSON has no bare line ends.
func writeEvent(b *bytes.Buffer, ev *coordinator.PublicEvent) {
	data, err := json.Marshal(ev)
	if err != nil {
		return // a value that is no number; nobody can be told of it
	}
	b.WriteString("id: " + ev.ID + "\nevent: " + string(ev.Kind) + "\ndata: ")
	b.Write(data)
	b.WriteString("\n\n")
}

func (st *stream) write(data []byte) bool {
	_ = st.rc.SetWriteDeadline(time.Now().Add(writeWithin))
	if _, err := st.w.Write(data); err != nil {
		return false
	}
	return st.rc.Flush() == nil
}
