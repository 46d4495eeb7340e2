// Package api answers other programs: what machines do, figures of use, events
// as they happen, and where these are posted to. It is plain net/http, and
// openapi.json, which it serves, says all of it. No answer holds a name, a home,
// or anything that somebody typed but the names of rooms and of the building.
package api

import (
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"drumturn/coordinator"
)

// House is the building as the API needs it.
type House interface {
	Rooms() []coordinator.RoomID
	Snapshot(room coordinator.RoomID) *coordinator.Snapshot
	Watch(room coordinator.RoomID) (changed <-chan struct{}, stop func())
	People() *coordinator.People
	DoPeople(ctx context.Context, ev coordinator.PeopleEvent) error
	Now() time.Time
}

// Options are what New needs.
type Options struct {
	House House
	// Building is the building's name.
	Building string
	// FactsAfter reads a room's history on from an id.
	FactsAfter func(ctx context.Context, room coordinator.RoomID, after coordinator.FactID, limit int) ([]coordinator.StoredFact, error)
	// Use makes a report; nil: there are no figures.
	Use func(ctx context.Context, q UseQuery) (*Use, error)
	// CheckURL says whether events may be posted to an address; the error is a
	// *coordinator.Error.
	CheckURL func(address string) error
	// Metrics answers GET /metrics to tokens of that scope; nil: there are none.
	Metrics http.Handler
	// Random is the source of secrets.
	Random io.Reader
	Log    *slog.Logger
}

// Server answers below /api/v1/ and at /metrics.
type Server struct {
	o       Options
	mux     *http.ServeMux
	limits  *limits
	closing chan struct{}
	once    sync.Once
}

//go:embed openapi.json
var document []byte

// Document is the OpenAPI 3.1 document of it.
func Document() []byte { return document }

// New makes the server.
func New(o Options) *Server {
	s := &Server{o: o, mux: http.NewServeMux(), limits: newLimits(), closing: make(chan struct{})}
	s.mux.HandleFunc("GET /api/v1/openapi.json", s.openapi)
	for _, e := range s.endpoints() {
		s.mux.HandleFunc(e.pattern, s.guard(e.scope, e.answer))
	}
	if o.Metrics != nil {
		s.mux.HandleFunc("GET /metrics", s.guard(coordinator.ScopeMetrics, s.metrics))
	}
	s.mux.HandleFunc("/", s.nothing)
	return s
}

// answer is a handler whose error is still to be worded.
type answer func(w http.ResponseWriter, r *http.Request, t *coordinator.Token) error

type endpoint struct {
	pattern string
	scope   coordinator.TokenScope
	answer  answer
}

// endpoints is the whole list.
func (s *Server) endpoints() []endpoint {
	return []endpoint{
		{"GET /api/v1/building", coordinator.ScopeStatus, reply(s.building)},
		{"GET /api/v1/rooms/{room}", coordinator.ScopeStatus, reply(s.room)},
		{"GET /api/v1/rooms/{room}/machines/{machine}", coordinator.ScopeStatus, reply(s.machine)},
		{"GET /api/v1/use", coordinator.ScopeUse, reply(s.use)},
		{"GET /api/v1/rooms/{room}/events", coordinator.ScopeEvents, s.events},
		{"GET /api/v1/webhooks", coordinator.ScopeWebhooks, reply(s.webhooks)},
		{"POST /api/v1/webhooks", coordinator.ScopeWebhooks, s.addWebhook},
		{"DELETE /api/v1/webhooks/{webhook}", coordinator.ScopeWebhooks, s.removeWebhook},
	}
}

// reply makes an answer of what a function returns.
func reply[T any](f func(r *http.Request) (T, error)) answer {
	return func(w http.ResponseWriter, r *http.Request, _ *coordinator.Token) error {
		v, err := f(r)
		if err != nil {
			return err
		}
		writeJSON(w, http.StatusOK, "application/json", v)
		return nil
	}
}

// ServeHTTP implements http.Handler.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.mux.ServeHTTP(w, r) }

// Close ends the event streams.
func (s *Server) Close() { s.once.Do(func() { close(s.closing) }) }

func (s *Server) openapi(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "public, max-age=3600")
	_, _ = w.Write(document)
}

func (s *Server) metrics(w http.ResponseWriter, r *http.Request, _ *coordinator.Token) error {
	s.o.Metrics.ServeHTTP(w, r)
	return nil
}

func (s *Server) nothing(w http.ResponseWriter, _ *http.Request) {
	writeProblem(w, problem{Status: http.StatusNotFound, Detail: "There is nothing at this address, or not by this method. See /api/v1/openapi.json."})
}

// writeJSON writes an answer that nothing on the way may keep.
func writeJSON(w http.ResponseWriter, status int, kind string, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		http.Error(w, "the answer does not encode", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(append(data, '\n'))
}

// problem is an error as RFC 9457 has it.
type problem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
}

func writeProblem(w http.ResponseWriter, p problem) {
	p.Type, p.Title = "about:blank", http.StatusText(p.Status)
	writeJSON(w, p.Status, "application/problem+json", p)
}

// statuses are what refusals come to.
var statuses = map[coordinator.Code]int{
	coordinator.Invalid: http.StatusBadRequest, coordinator.NotFound: http.StatusNotFound, coordinator.NotAllowed: http.StatusForbidden,
	coordinator.Conflict: http.StatusConflict, coordinator.OverLimit: http.StatusConflict,
}

// fail words an error: refusals say what they are, all else is for the log.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	if refused, ok := errors.AsType[*coordinator.Error](err); ok {
		writeProblem(w, problem{Status: statuses[refused.Code], Detail: refused.Text})
		return
	}
	if r.Context().Err() != nil {
		return // whoever asked is gone
	}
	s.o.Log.Error("a request of another program failed", "route", r.Pattern, "err", err)
	writeProblem(w, problem{Status: http.StatusInternalServerError, Detail: "Something went wrong here. It was written into the program's log."})
}

// notFound is the refusal of what is not there.
func notFound(key, sentence string, args ...any) error {
	return coordinator.Refuse(coordinator.NotFound, key, sentence, args...)
}
