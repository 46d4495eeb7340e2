package main

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/meter/sim"
	"drumturn/coordinator/usage"
)

// evening is where the clocks of these tests stand.
var evening = time.Date(2026, 3, 4, 18, 0, 0, 0, time.UTC)

// wired is the program, put together from a building file of a test.
type wired struct {
	*testing.T
	dir   string
	clock *loop.Manual
	log   *lockedBuffer
	app   *app
	// end stops what runs and frees the store; calling it again does nothing.
	end func()
}

// wiring writes a building file and what stands beside it.
func wiring(t *testing.T, text string, beside map[string]string) *wired {
	t.Helper()
	w := &wired{T: t, dir: t.TempDir(), clock: loop.NewManual(evening), log: &lockedBuffer{}, end: func() {}}
	w.write("building.toml", text)
	for name, content := range beside {
		w.write(name, content)
	}
	t.Cleanup(func() { w.end() })
	return w
}

func (w *wired) write(name, content string) {
	w.Helper()
	if err := os.WriteFile(w.path(name), []byte(content), 0o600); err != nil {
		w.Fatal(err)
	}
}

func (w *wired) path(names ...string) string {
	return filepath.Join(append([]string{w.dir}, names...)...)
}

// setup reads the building file and says how to put the program together.
func (w *wired) setup() setup {
	w.Helper()
	file, err := config.Load(w.path("building.toml"), config.Options{
		CheckSchedule: usage.CheckSchedule, SimMachines: sim.Models(), SimMeters: sim.Meters(),
	})
	if err != nil {
		w.Fatal(err)
	}
	return setup{
		file: file, clock: w.clock, log: newLog(w.log, slog.LevelInfo), engine: engine, noSync: true, plainCookies: true,
	}
}

// open puts the program together, without running it.
func (w *wired) open() *wired { return w.openAs(w.setup()) }

// openAs does so from a set-up of the test's own.
func (w *wired) openAs(s setup) *wired {
	w.Helper()
	a, err := newApp(w.Context(), s)
	if err != nil {
		w.Fatal(err)
	}
	w.app, w.end = a, func() { a.close(); w.end = func() {} }
	return w
}

// start puts the program together and runs it until end.
func (w *wired) start() *wired { return w.startAs(w.setup()) }

// startAs does so from a set-up of the test's own.
func (w *wired) startAs(s setup) *wired {
	w.Helper()
	w.openAs(s)
	a := w.app
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- a.run(ctx) }()
	w.end = func() {
		cancel()
		if err := <-ended; err != nil {
			w.Errorf("the program ended with %v", err)
		}
		a.close()
		w.end = func() {}
	}
	return w
}

// settle waits until the cellar has worked off its inbox, and returns what it shows.
func (w *wired) settle() *coordinator.Snapshot {
	w.Helper()
	if _, err := w.app.house.Do(w.Context(), "cellar", coordinator.Tick{}); err != nil {
		w.Fatal(err)
	}
	return w.app.house.Snapshot("cellar")
}

// patience is how long one step of a test may take. It ends what hangs, and is no
// measure of anything: a busy machine may need a good part of it.
const patience = 3 * time.Minute

// until waits for what another goroutine does; it must come at last.
func (w *wired) until(what string, done func() bool) {
	w.Helper()
	changed, stop := w.app.house.Watch("cellar")
	defer stop()
	deadline := time.After(patience)
	for !done() {
		select {
		case <-changed:
		case <-time.After(10 * time.Millisecond): // not everything is told by a snapshot
		case <-deadline:
			w.Fatalf("%s: never\n%s", what, w.log.String())
		}
	}
}

// heard checks what the newest reading of a machine was.
func (w *wired) heard(id coordinator.MachineID, watts float64) {
	w.Helper()
	if m := w.settle().Machine(id); m == nil || m.Watts != watts || m.Heard.IsZero() {
		w.Errorf("machine %s was heard with %+v, want %g W\n%s", id, m, watts, w.log.String())
	}
}

// visitor is a browser at the pages.
func (w *wired) visitor() *visitor {
	w.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		w.Fatal(err)
	}
	return &visitor{w, &http.Client{Jar: jar, Timeout: patience, Transport: &http.Transport{}}}
}

// visitor is a browser with a jar for cookies.
type visitor struct {
	*wired
	client *http.Client
}

// get loads a page and returns its status and text.
func (v *visitor) get(path string) (int, string) {
	v.Helper()
	req, err := http.NewRequestWithContext(v.Context(), http.MethodGet, "http://"+v.app.address()+path, nil)
	if err != nil {
		v.Fatal(err)
	}
	return v.send(req)
}

// post sends a form of names and values in turn, as a browser does.
func (v *visitor) post(path string, fields ...string) (int, string) {
	v.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Set(fields[i], fields[i+1])
	}
	req, err := http.NewRequestWithContext(v.Context(), http.MethodPost, "http://"+v.app.address()+path, strings.NewReader(form.Encode()))
	if err != nil {
		v.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Sec-Fetch-Site", "same-origin")
	return v.send(req)
}

func (v *visitor) send(req *http.Request) (int, string) {
	v.Helper()
	resp, err := v.client.Do(req)
	if err != nil {
		v.Fatalf("%s %s: %v", req.Method, req.URL.Path, err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		v.Fatal(err)
	}
	return resp.StatusCode, string(body)
}

// sees checks that a page says all of some words.
func (v *visitor) sees(path string, words ...string) {
	v.Helper()
	status, text := v.get(path)
	for _, word := range words {
		if status != http.StatusOK || !strings.Contains(text, word) {
			v.Errorf("%s (%d) does not say %q:\n%s", path, status, word, text)
		}
	}
}

// join makes the visitor a resident of a home, with the code on the wall.
func (v *visitor) join(home, name string) coordinator.Person {
	v.Helper()
	code := v.app.house.People().Invitations["cellar"].Code
	if status, text := v.post("/r/cellar/join", "code", code, "home", home, "name", name); status != http.StatusOK {
		v.Fatalf("%s cannot join: %d\n%s", name, status, text)
	}
	return v.person(name)
}

// person finds somebody by name.
func (w *wired) person(name string) coordinator.Person {
	w.Helper()
	for _, p := range w.app.house.People().Persons {
		if p.Name == name {
			return p
		}
	}
	w.Fatalf("nobody is called %s", name)
	return coordinator.Person{}
}

func (w *wired) rm(name string) {
	w.Helper()
	if err := os.Remove(w.path(name)); err != nil {
		w.Fatal(err)
	}
}
