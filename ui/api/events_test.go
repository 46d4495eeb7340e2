package api

import (
	"bufio"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
)

// listener is a program that listens over a real connection.
type listener struct {
	*testing.T
	lines  *bufio.Scanner
	cancel context.CancelFunc
}

func (k *kit) listen(last string) *listener {
	k.Helper()
	s := httptest.NewServer(k.server)
	k.Cleanup(s.Close)
	ctx, cancel := context.WithTimeout(k.Context(), 30*time.Second)
	k.Cleanup(cancel)
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.URL+"/api/v1/rooms/cellar/events", nil)
	if err != nil {
		k.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+secretOf("events"))
	if last != "" {
		r.Header.Set("Last-Event-ID", last)
	}
	answer, err := s.Client().Do(r)
	if err != nil {
		k.Fatal(err)
	}
	k.Cleanup(func() { _ = answer.Body.Close() })
	if answer.StatusCode != 200 || answer.Header.Get("Content-Type") != "text/event-stream" {
		k.Fatalf("%d %v", answer.StatusCode, answer.Header)
	}
	return &listener{k.T, bufio.NewScanner(answer.Body), cancel}
}

// next reads an event: its fields by name. over: the stream has ended.
func (l *listener) next() (fields map[string]string, over bool) {
	l.Helper()
	fields = map[string]string{}
	for l.lines.Scan() {
		name, value, _ := strings.Cut(l.lines.Text(), ": ")
		switch {
		case l.lines.Text() == "" && len(fields) > 0:
			return fields, false
		case name != "":
			fields[name] = value
		}
	}
	return nil, true
}

// TestEventsAsTheyHappen: after a break nothing is missed or repeated.
func TestEventsAsTheyHappen(t *testing.T) {
	k := newKit(t)
	k.house.happens(coordinator.Fact{At: noon.Add(-time.Hour), Kind: coordinator.FactFault, Machine: "1"}) // before
	l := k.listen("")
	k.house.happens(coordinator.Fact{At: noon, Kind: coordinator.FactNudged, Machine: "1"}) // nobody's business
	k.house.happens(coordinator.Fact{At: noon, Kind: coordinator.FactCycle, Machine: "1", Cycle: 5, Start: noon.Add(-time.Hour), End: noon.Add(-time.Minute), EnergyWh: 512.5, Note: "finished"})
	first, over := l.next()
	var ev coordinator.PublicEvent
	if err := json.Unmarshal([]byte(first["data"]), &ev); over || err != nil || first["event"] != "cycle" || first["id"] != ev.ID || ev.Cycle != 5 || *ev.EnergyWh != 512.5 || ev.Detail != "finished" {
		t.Fatalf("%v, %v: %+v", first, err, ev)
	}
	l.cancel()
	for range 3 {
		k.house.happens(coordinator.Fact{At: noon, Kind: coordinator.FactFault, Machine: "2"}) // while nobody listens
	}
	l = k.listen(first["id"])
	var got []string
	for range 3 {
		fields, over := l.next()
		if over {
			t.Fatal("the stream ended")
		}
		got = append(got, fields["id"])
	}
	if want := "4 5 6"; strings.Join(got, " ") != strings.ReplaceAll("X4 X5 X6", "X", first["id"][:strings.Index(first["id"], "-")+1]) {
		t.Errorf("%v, want those that end with %s", got, want)
	}
}

// TestStreamsEnd when the token is revoked, and when the server closes.
func TestStreamsEnd(t *testing.T) {
	k := newKit(t)
	l := k.listen("")
	id := Hash(secretOf("events"))[:16]
	if err := k.house.DoPeople(t.Context(), coordinator.RevokeToken{ID: id}); err != nil {
		t.Fatal(err)
	}
	k.house.happens(coordinator.Fact{At: noon, Kind: coordinator.FactFault, Machine: "2"})
	for over := false; !over; {
		var fields map[string]string
		if fields, over = l.next(); fields["data"] != "" {
			t.Fatalf("a revoked token is told %v", fields)
		}
	}
	k = newKit(t)
	l = k.listen("")
	k.server.Close()
	k.server.Close()
	for over := false; !over; {
		_, over = l.next()
	}
}

// TestStreamsAreLimited to some for each token.
func TestStreamsAreLimited(t *testing.T) {
	l := newLimits()
	for range streamsPerToken {
		if !l.enter("a") {
			t.Fatal("too few")
		}
	}
	if l.enter("a") || !l.enter("b") {
		t.Error("a token has more streams than it may, or takes another's")
	}
	l.leave("a")
	if !l.enter("a") {
		t.Error("one that ended still counts")
	}
}
