package metrics

import (
	"fmt"
	"io"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
)

// asked is what Prometheus would read.
func asked(t *testing.T, r *Requests) string {
	t.Helper()
	w := httptest.NewRecorder()
	Handler(func() Now { return Now{} }, r).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	body, err := io.ReadAll(w.Body)
	if err != nil || w.Code != 200 {
		t.Fatalf("%d %v", w.Code, err)
	}
	return string(body)
}

// TestRequestsAreCounted in cumulative buckets, as Prometheus' text format has
// histograms: each holds all that took no longer than its bound.
func TestRequestsAreCounted(t *testing.T) {
	r := NewRequests()
	for _, d := range []time.Duration{2 * time.Millisecond, 30 * time.Millisecond, 30 * time.Millisecond, time.Minute} {
		r.Took("GET", "/r/:room", 200, d)
	}
	r.Took("POST", "/r/:room/turns", 303, 80*time.Millisecond)
	body := asked(t, r)
	const name = "drumturn_http_request_duration_seconds"
	for _, line := range []string{
		"# TYPE " + name + " histogram",
		name + `_bucket{code="200",method="GET",route="/r/:room",le="0.001"} 0`,
		name + `_bucket{code="200",method="GET",route="/r/:room",le="0.0025"} 1`,
		name + `_bucket{code="200",method="GET",route="/r/:room",le="0.05"} 3`,
		name + `_bucket{code="200",method="GET",route="/r/:room",le="10"} 3`,
		name + `_bucket{code="200",method="GET",route="/r/:room",le="+Inf"} 4`,
		name + `_sum{code="200",method="GET",route="/r/:room"} 60.062`,
		name + `_count{code="200",method="GET",route="/r/:room"} 4`,
		name + `_count{code="303",method="POST",route="/r/:room/turns"} 1`,
	} {
		if !strings.Contains(body, line+"\n") {
			t.Errorf("nothing says %s", line)
		}
	}
}

// TestSeriesAreBounded: whatever methods are invented, they are one.
func TestSeriesAreBounded(t *testing.T) {
	r := NewRequests()
	for i := range 1000 {
		r.Took(fmt.Sprintf("M%d", i), "", 404, time.Millisecond)
	}
	if n := testutil.CollectAndCount(r.took); n != 1 {
		t.Errorf("%d series of invented methods", n)
	}
	if body := asked(t, r); !strings.Contains(body, `_count{code="404",method="other",route="none"} 1000`) {
		t.Error("they are not counted")
	}
	for _, m := range methods {
		r.Took(m, "/", 200, time.Millisecond)
	}
	if n := testutil.CollectAndCount(r.took); n != 1+len(methods) {
		t.Errorf("%d series", n)
	}
}

// TestBoundsRise: Prometheus wants its bounds in order.
func TestBoundsRise(t *testing.T) {
	for i := 1; i < len(seconds); i++ {
		if seconds[i] <= seconds[i-1] {
			t.Errorf("bound %d is %v after %v", i, seconds[i], seconds[i-1])
		}
	}
}

// TestManyAtOnce count and are asked at the same time; none is lost.
func TestManyAtOnce(t *testing.T) {
	r := NewRequests()
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			for range 500 {
				r.Took("GET", "/", 200, time.Microsecond)
			}
		})
	}
	all.Go(func() { asked(t, r) })
	all.Wait()
	if body := asked(t, r); !strings.Contains(body, `_count{code="200",method="GET",route="/"} 4000`) {
		t.Error("some were lost")
	}
}

// TestOneMachineHasOneStatus: of the statuses of a machine exactly one is 1, for
// each that there is, and an unknown word is none of them.
func TestOneMachineHasOneStatus(t *testing.T) {
	for _, status := range append(Statuses, "dancing") {
		registry := prometheus.NewRegistry()
		registry.MustRegister(collector{func() Now {
			return Now{Rooms: []Room{{Room: "cellar", Machines: []Machine{{Room: "cellar", Machine: "w1", Status: status}}}}}
		}})
		families, err := registry.Gather()
		if err != nil {
			t.Fatal(err)
		}
		on := ""
		for _, f := range families {
			if f.GetName() != "drumturn_machine_status" {
				continue
			}
			if len(f.Metric) != len(Statuses) {
				t.Errorf("%d statuses are told", len(f.Metric))
			}
			for _, m := range f.Metric {
				for _, label := range m.Label {
					if label.GetName() == "status" && m.Gauge.GetValue() == 1 {
						on += label.GetValue()
					}
				}
			}
		}
		if want := strings.TrimSuffix(status, "dancing"); on != want {
			t.Errorf("%s is told as %q", status, on)
		}
	}
}
