package ui

import (
	"fmt"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"

	"drumturn/coordinator"
)

// TestTook: every answer is told of by its route's template, with the status that
// was answered, also where a handler fails or panics; streams are not.
func TestTook(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	var mu sync.Mutex
	var told []string
	inner := http.NewServeMux()
	inner.HandleFunc("GET /api/things/{thing}", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTeapot) })
	inner.HandleFunc("/", http.NotFound)
	s := newTestServer(t, h, func(o *Options) {
		o.Took = func(method, route string, status int, d time.Duration) {
			mu.Lock()
			defer mu.Unlock()
			told = append(told, fmt.Sprintf("%s %s %d", method, route, status))
			if d < 0 || d > time.Minute {
				t.Errorf("%s took %v", route, d)
			}
		}
		o.Mounts = map[string]http.Handler{
			"/api/":   inner,
			"/meter/": http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("a loose wire") }),
		}
	})
	for _, one := range []struct {
		ask  ask
		want string
	}{
		{get("/r/cellar"), "GET /r/:room 200"},
		{get("/r/attic"), "GET /r/:room 404"},
		{get("/r/cellar/m/w4?secret=1"), "GET /r/:room/m/:machine 200"},
		{get("/some/where"), "GET  404"},
		{post("/r/cellar"), "POST /r/:room 405"},
		{post("/manager/r/cellar/m/w4", "do", "empty"), "POST /manager/r/:room/m/:machine 403"},
		{post("/manager/r/cellar/m/w4", "do", "empty").as("", "secret-of-boss"), "POST /manager/r/:room/m/:machine 303"},
		{get("/api/things/7"), "GET /api/things/{thing} 418"},
		{get("/api/others/7"), "GET  404"},
		{get("/meter/washer-1"), "GET /meter/* 500"},
	} {
		told = nil
		w := one.ask.of(s)
		if !slices.Equal(told, []string{one.want}) {
			t.Errorf("%s %s answered %d, and is told of as %q, want %q", one.ask.method, one.ask.path, w.Code, told, one.want)
		}
	}
}
