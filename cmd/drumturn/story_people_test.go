package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"time"

	"drumturn/coordinator"
	"drumturn/push/pushtest"
)

// browser is somebody with a browser: a cookie jar, forms, perhaps a phone that
// is told things.
type browser struct {
	story  *story
	name   string
	client *http.Client
	phone  *pushtest.Phone
}

// printedOn is the code on a machine of the cellar.
func (s *story) printedOn(m coordinator.MachineID) string {
	return s.app.house.People().MachineCodes[coordinator.Place{Room: "cellar", Machine: m}].Code
}

// browser opens a browser that has never been here.
func (s *story) browser(name string) *browser {
	s.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.Fatal(err)
	}
	b := &browser{story: s, name: name, client: &http.Client{
		Jar: jar, Timeout: patience, Transport: &http.Transport{TLSClientConfig: s.clientTLS()},
	}}
	s.browsers = append(s.browsers, b)
	return b
}

// resident joins with the code on the wall, and lets the phone be told.
func (s *story) resident(name, home string) *browser {
	s.Helper()
	b := s.browser(name)
	b.get("/r/cellar/join")
	b.post("/r/cellar/join", "code", s.app.house.People().Invitations["cellar"].Code, "home", home, "name", name)
	b.subscribe("/me/devices")
	return b
}

// subscribe lets the phone's browser subscribe, as the page's script does.
func (b *browser) subscribe(path string) {
	b.story.Helper()
	b.phone = b.story.pushes.Phone(b.name)
	b.post(path, "endpoint", b.phone.Endpoint, "p256dh", b.phone.P256dh(), "auth", b.phone.Auth())
}

// get loads a page and returns its text.
func (b *browser) get(path string) string {
	b.story.Helper()
	req, err := http.NewRequestWithContext(b.story.Context(), http.MethodGet, "https://"+b.story.pages+path, nil)
	if err != nil {
		b.story.Fatal(err)
	}
	return b.send(req)
}

// post sends a form, given as names and values in turn, as a browser does.
func (b *browser) post(path string, fields ...string) {
	b.story.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Set(fields[i], fields[i+1])
	}
	req, err := http.NewRequestWithContext(b.story.Context(), http.MethodPost, "https://"+b.story.pages+path, strings.NewReader(form.Encode()))
	if err != nil {
		b.story.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Origin", "https://"+b.story.pages)
	req.Header.Set("Sec-Fetch-Site", "same-origin")
	b.send(req)
	b.story.disturb()
}

func (b *browser) send(req *http.Request) string {
	b.story.Helper()
	resp, err := b.client.Do(req)
	if err != nil {
		b.story.Fatalf("%s, %s %s: %v", b.name, req.Method, req.URL.Path, err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode >= 300 {
		b.story.Fatalf("%s, %s %s: %s, %v\n%s", b.name, req.Method, req.URL.Path, resp.Status, err, body)
	}
	return string(body)
}

// sees checks that a page says something.
func (b *browser) sees(path, text string) {
	b.story.Helper()
	if page := b.get(path); !strings.Contains(page, text) {
		b.story.Errorf("%s does not see %q on %s:\n%s", b.name, text, path, page)
	}
}

// told waits until the phone was told n different things, the last of a kind.
func (b *browser) told(n int, kind string) {
	b.story.Helper()
	ctx, cancel := context.WithTimeout(b.story.Context(), patience)
	defer cancel()
	for {
		lines := b.lines()
		if len(lines) >= n {
			if !strings.HasPrefix(lines[n-1], b.name+": "+kind+" ") {
				b.story.Fatalf("%s was told as number %d %q, want %s", b.name, n, lines[n-1], kind)
			}
			return
		}
		if ctx.Err() != nil {
			b.story.Fatalf("%s waits for number %d, %s; told so far:\n%s", b.name, n, kind, strings.Join(lines, "\n"))
		}
		// The kill may strike at somebody else's message: look at it now and then.
		moment, stop := context.WithTimeout(ctx, 50*time.Millisecond)
		_, _ = b.phone.Await(moment, len(b.phone.Messages())+1)
		stop()
		b.story.disturb()
	}
}

// turn is the number of the browser's waiting or called turn.
func (b *browser) turn() string {
	b.story.Helper()
	people := b.story.app.house.People()
	for _, t := range b.story.app.house.Snapshot("cellar").Turns {
		if people.Persons[t.Person].Name == b.name {
			return fmt.Sprint(t.ID)
		}
	}
	b.story.Fatalf("%s has no turn", b.name)
	return ""
}

// reading as the JSON meter of the story sends it.
func jsonReading(r tapeReading) []byte {
	data, _ := json.Marshal(map[string]any{"power": r.watts, "at": r.at.Format(time.RFC3339Nano)})
	return data
}
