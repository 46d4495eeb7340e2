package metrics

import (
	"io"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
)

var noon = time.Date(2026, 3, 17, 12, 0, 0, 0, time.UTC)

func full() Now {
	return Now{
		Rooms:   []Room{{"cellar", 2, []Machine{{"cellar", "w1", "running", 1980.5, noon, 512.5}, {"cellar", "d1", "unknown", 0, time.Time{}, 0}}}},
		Meters:  []Meter{{"plug-1", false, 400, 3, 1}, {"plug-2", true, 0, 0, 7}},
		Notices: &Notices{Sent: 9, Retried: 2, Gone: 1, Failed: 3, Alarms: 1, Silent: 1, Trouble: true}, StoreBytes: 4 << 20, Webhooks: 2, WebhooksFailing: 1,
	}
}

// TestNamesFollowTheConventions of Prometheus, by its own linter (testutil/promlint).
func TestNamesFollowTheConventions(t *testing.T) {
	registry := prometheus.NewPedanticRegistry()
	requests := NewRequests()
	requests.Took("GET", "/r/:room", 200, time.Second)
	registry.MustRegister(collector{full}, requests.took)
	problems, err := testutil.GatherAndLint(registry)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
	families, err := registry.Gather()
	if err != nil || len(families) != 21 {
		t.Errorf("%d families, %v", len(families), err)
	}
	for _, f := range families {
		if !strings.HasPrefix(f.GetName(), "drumturn_") || f.GetHelp() == "" {
			t.Errorf("%s: %q", f.GetName(), f.GetHelp())
		}
	}
}

func TestWhatIsSaid(t *testing.T) {
	w := httptest.NewRecorder()
	Handler(full, NewRequests()).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	body, _ := io.ReadAll(w.Body)
	for _, line := range []string{
		`drumturn_machine_status{machine="w1",room="cellar",status="running"} 1`, `drumturn_machine_status{machine="w1",room="cellar",status="free"} 0`,
		`drumturn_machine_power_watts{machine="w1",room="cellar"} 1980.5`, `drumturn_machine_heard_timestamp_seconds{machine="w1",room="cellar"} 1.7737488e+09`,
		`drumturn_machine_cycle_energy_joules{machine="w1",room="cellar"} 1.845e+06`, `drumturn_turns_waiting{room="cellar"} 2`,
		`drumturn_meter_silent{meter="plug-2"} 1`, `drumturn_meter_readings_total{meter="plug-1"} 400`, `drumturn_meter_readings_refused_total{meter="plug-1"} 3`,
		`drumturn_notices_sent_total 9`, `drumturn_notices_failed_total 3`, `drumturn_outbox_failing 1`, `drumturn_store_size_bytes 4.194304e+06`,
		`drumturn_webhooks 2`, `drumturn_webhooks_failing 1`, `drumturn_build_info{version=`, `go_goroutines `,
	} {
		if !strings.Contains(string(body), line) {
			t.Errorf("nothing says %s", line)
		}
	}
	// What was never heard has no power: a failed read is unknown, never 0 W.
	if strings.Contains(string(body), `drumturn_machine_power_watts{machine="d1"`) {
		t.Error("a machine that was never heard has a power")
	}
}

// TestWithoutNotices: where none are sent, nothing is said of them; two handlers do not get in each other's way.
func TestWithoutNotices(t *testing.T) {
	for range 2 {
		w := httptest.NewRecorder()
		Handler(func() Now { return Now{} }, NewRequests()).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
		if w.Code != 200 || strings.Contains(w.Body.String(), "drumturn_notices") || !strings.Contains(w.Body.String(), "drumturn_webhooks 0") {
			t.Errorf("%d %s", w.Code, w.Body)
		}
	}
}
