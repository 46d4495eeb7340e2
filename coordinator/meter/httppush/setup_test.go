package httppush

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"drumturn/coordinator/meter"
)

func TestPushClosed(t *testing.T) {
	p := newPush(t, Options{})
	ask := func() int { return do(p, request("POST", "/readings/", "Bearer "+tokenOne, "1")).Code }
	if got := ask(); got != 503 {
		t.Errorf("before Run: %d", got)
	}
	for range 2 {
		stop := open(t, p, &inbox{})
		if got := ask(); got != 204 {
			t.Errorf("open: %d", got)
		}
		stop()
		if got := ask(); got != 503 {
			t.Errorf("after Run: %d", got)
		}
	}
}

// Over a real socket, many meters at once.
func TestPushOverASocket(t *testing.T) {
	box := &inbox{}
	p := newPush(t, Options{})
	defer open(t, p, box)()
	mux := http.NewServeMux()
	mux.Handle(Path, p.Handler())
	server := httptest.NewServer(mux)
	defer server.Close()
	var wg sync.WaitGroup
	for _, token := range []string{tokenOne, tokenTwo} {
		for range 20 {
			wg.Go(func() {
				r, _ := http.NewRequestWithContext(t.Context(), "POST", server.URL+Path, strings.NewReader(`{"watts":4,"p":4}`))
				r.Header.Set("Authorization", "Bearer "+token)
				w, err := server.Client().Do(r)
				if err != nil {
					t.Error(err)
					return
				}
				defer w.Body.Close()
				if w.StatusCode != 204 {
					t.Errorf("status %d", w.StatusCode)
				}
			})
		}
	}
	wg.Wait()
	if n := strings.Count(box.all(), "one 4 W"); n != 20 {
		t.Errorf("%d readings of one", n)
	}
	if n := strings.Count(box.all(), "two 4 W"); n != 20 {
		t.Errorf("%d readings of two", n)
	}
}

func TestNewReportsAllAtOnce(t *testing.T) {
	_, err := New(Options{Meters: []Meter{
		{Name: "a", Token: "short"},
		{Name: "b", Token: tokenOne},
		{Name: "b", Token: tokenTwo},
		{Name: "c", Token: tokenOne},
		{Name: "d/e", Token: tokenOne + "d"},
		{Name: "", Token: tokenOne + "e"},
		{Name: "f", Token: "with a space in it"},
		{Name: "g", Token: tokenOne + "g", Format: meter.Format{Watts: "p"}},
	}})
	for _, want := range []string{
		`"a": its token must have at least 16`, `"b" is there twice`, `"c" has the token of meter "b"`, `"d/e" cannot be a meter's name`,
		`"" cannot be a meter's name`, `"f": its token must be of plain letters`, `"g": watts:`,
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("no word about %q in: %v", want, err)
		}
	}
	if err != nil && (strings.Contains(err.Error(), tokenOne) || strings.Contains(err.Error(), "with a space")) {
		t.Error("the error shows a token")
	}
	if _, err := New(Options{}); err == nil {
		t.Error("no meters, and no error")
	}
}

// Whatever is posted, the answer is one of those that are documented, and only
// a 204 or a part of a list is taken.
func FuzzPush(f *testing.F) {
	for _, seed := range []string{"1", "", "[1]", `[{"watts":1,"time":1}]`, `{"watts":1e999}`, `{"watts":-3,"wh":1}`, "\xff\xfe"} {
		f.Add([]byte(seed))
	}
	box := &inbox{}
	p := newPush(f, Options{MaxBody: 4096})
	f.Cleanup(open(f, p, box))
	f.Fuzz(func(t *testing.T, body []byte) {
		r := request("POST", "/readings/", "Bearer "+tokenOne, string(body))
		before := box.all()
		w := do(p, r)
		switch w.Code {
		case 204:
			if box.all() == before {
				t.Fatal("204, and nothing taken")
			}
		case 400, 413:
			if w.Body.Len() < 10 {
				t.Fatalf("%d %q", w.Code, w.Body)
			}
		default:
			t.Fatalf("%d %q", w.Code, w.Body)
		}
		box.mu.Lock()
		box.took = nil
		box.mu.Unlock()
	})
}
