package main

import (
	"bufio"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/paho"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/loop"
)

// benchRooms is how many rooms take turns, so that each has been quiet for more
// than a second when it is measured.
const benchRooms = 100

// BenchmarkReadingToPage measures the time from publishing the reading that
// starts a cycle to the event received by a connected page, over real sockets
// and with a store on disk: median and worst. Run it with -benchtime 1000x.
func BenchmarkReadingToPage(b *testing.B) {
	w := newWatchedBuilding(b)
	var took []time.Duration
	i := 0
	for b.Loop() {
		took = append(took, w.startCycle(i%benchRooms))
		i++
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "ms-median")
	b.ReportMetric(float64(took[len(took)-1].Microseconds())/1000, "ms-worst")
}

// watchedBuilding is a building with one washer a room, and a page open on each.
type watchedBuilding struct {
	*testing.B
	app   *app
	clock *loop.Manual
	meter []*paho.Client
	pages []chan time.Time // when events arrived
	last  [benchRooms]time.Time
}

func newWatchedBuilding(b *testing.B) *watchedBuilding {
	b.Helper()
	w := &watchedBuilding{B: b, clock: loop.NewManual(time.Date(2026, 6, 10, 8, 0, 0, 0, time.UTC))}
	file, err := config.Parse(b.TempDir()+"/building.toml", []byte(watchedTOML()), config.Options{})
	if err != nil {
		b.Fatal(err)
	}
	w.app, err = newApp(b.Context(), setup{file: file, clock: w.clock, log: slog.New(slog.DiscardHandler), engine: engine})
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- w.app.run(ctx) }()
	b.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			b.Error(err)
		}
		w.app.close()
	})
	for i := range benchRooms {
		w.meter = append(w.meter, w.connect(i))
		w.pages = append(w.pages, w.open(ctx, i))
		w.publish(i, 1)
	}
	return w
}

func watchedTOML() string {
	var t strings.Builder
	t.WriteString("[building]\nname = \"Bench\"\ntime_zone = \"UTC\"\n[server]\nlisten = \"127.0.0.1:0\"\n[mqtt]\nlisten = \"127.0.0.1:0\"\n")
	for i := range benchRooms {
		fmt.Fprintf(&t, "[rooms.r%d]\nname = \"Room %d\"\n[[rooms.r%d.machines]]\nnumber = 1\nkind = \"washer\"\nmeter = \"m%d\"\nidle_for = \"1m\"\nsilent_after = \"12h\"\n", i, i, i, i)
		fmt.Fprintf(&t, "[meters.m%d]\ndriver = \"mqtt\"\ntopic = \"laundry/m%d\"\npassword = \"bench-secret\"\n", i, i)
	}
	return t.String()
}

// connect signs a meter in.
func (w *watchedBuilding) connect(i int) *paho.Client {
	w.Helper()
	client, err := signIn(w.Context(), w.app.brokerAddr().String(), fmt.Sprintf("m%d", i), "bench-secret")
	if err != nil {
		w.Fatal(err)
	}
	return client
}

// open opens a room's page and notes when each event arrives.
func (w *watchedBuilding) open(ctx context.Context, i int) chan time.Time {
	w.Helper()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, fmt.Sprintf("http://%s/r/r%d/events", w.app.address(), i), nil)
	if err != nil {
		w.Fatal(err)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil || resp.StatusCode != http.StatusOK {
		w.Fatalf("open room %d: %v", i, err)
	}
	arrived := make(chan time.Time, 64)
	go func() {
		defer resp.Body.Close()
		lines := bufio.NewScanner(resp.Body)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			if lines.Text() == "" { // the end of an event
				arrived <- time.Now()
			}
		}
	}()
	return arrived
}

func (w *watchedBuilding) publish(i int, watts float64) {
	w.Helper()
	_, err := w.meter[i].Publish(w.Context(), &paho.Publish{QoS: 1, Topic: fmt.Sprintf("laundry/m%d", i), Payload: fmt.Append(nil, watts)})
	if err != nil {
		w.Fatal(err)
	}
}

// startCycle reads power until the machine counts as running, and returns how
// long the event about the last of these readings took.
func (w *watchedBuilding) startCycle(i int) time.Duration {
	w.Helper()
	room := coordinator.RoomID(fmt.Sprintf("r%d", i))
	for range 60 {
		w.clock.Set(w.clock.Now().Add(time.Second))
		for len(w.pages[i]) > 0 {
			w.last[i] = <-w.pages[i]
		}
		time.Sleep(1100*time.Millisecond - time.Since(w.last[i])) // a quiet second
		published := time.Now()
		w.publish(i, 2000)
		if _, err := w.app.house.Do(w.Context(), room, coordinator.Tick{}); err != nil {
			w.Fatal(err)
		}
		if w.app.house.Snapshot(room).Machines[0].Status == coordinator.Running {
			w.last[i] = <-w.pages[i]
			took := w.last[i].Sub(published)
			w.clock.Set(w.clock.Now().Add(5 * time.Second))
			w.publish(i, 1)
			return took
		}
	}
	w.Fatal("the machine never counted as running")
	return 0
}
