package main

import (
	"context"
	"crypto/x509"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	library "github.com/SherClockHolmes/webpush-go"

	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/store"
	"drumturn/push"
	"drumturn/push/pushtest"
	"drumturn/push/webpush"
	"drumturn/queue"
)

const (
	// benchPerHost is push.Config.PerHost as it is by default.
	benchPerHost = 4
	// benchPayload is about as long as the payload of due's notices, in octets.
	benchPayload = 330
)

// receiver is a push service on TLS that takes everything and looks at nothing.
type receiver struct {
	*httptest.Server
	took atomic.Int64
	all  chan struct{} // closed when took reaches want
	want int64
	rest time.Duration // before each answer
}

func newReceiver(b *testing.B, rest time.Duration) *receiver {
	b.Helper()
	r := &receiver{rest: rest}
	r.Server = httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		if r.rest > 0 {
			select {
			case <-time.After(r.rest):
			case <-req.Context().Done():
			}
		}
		w.WriteHeader(http.StatusCreated)
		if r.took.Add(1) == atomic.LoadInt64(&r.want) {
			close(r.all)
		}
	}))
	r.EnableHTTP2 = true
	r.StartTLS()
	b.Cleanup(r.Close)
	return r
}

// expect begins a count to n.
func (r *receiver) expect(n int) {
	r.all = make(chan struct{})
	r.took.Store(0)
	atomic.StoreInt64(&r.want, int64(n))
}

// tally is a store that says when what became of the last notice is recorded.
type tally struct {
	*store.File
	open atomic.Int64  // rows that are not recorded as over
	all  chan struct{} // closed when there are none
}

func (t *tally) RecordDeliveries(ctx context.Context, rows ...coordinator.Delivery) error {
	err := t.File.RecordDeliveries(ctx, rows...)
	if err != nil {
		return err
	}
	for i := range rows {
		if rows[i].State != coordinator.Pending && t.open.Add(-1) == 0 {
			close(t.all)
		}
	}
	return nil
}

// benchPost is an outbox on disk and a worker with phones at receivers.
type benchPost struct {
	*testing.B
	file   *tally
	worker *push.Worker
	keys   push.Keys
	client *http.Client
	people *coordinator.People
	turn   int
	seq    uint64
}

func newBenchPost(b *testing.B, receivers ...*receiver) *benchPost {
	b.Helper()
	file, err := store.Open(filepath.Join(b.TempDir(), "building.db"), store.Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = file.Close() })
	p := &benchPost{B: b, file: &tally{File: file}, people: &coordinator.People{
		Persons: map[coordinator.PersonID]coordinator.Person{}, Subscriptions: map[string]coordinator.Subscription{},
	}}
	roots := x509.NewCertPool()
	phone := pushtest.NewService(b).Phone("keys") // for its keys only
	for i, r := range receivers {
		roots.AddCert(r.Certificate())
		id := coordinator.PersonID(fmt.Sprintf("p%d", i))
		p.people.Persons[id] = coordinator.Person{ID: id, Home: "1"}
		p.people.Subscriptions[string(id)] = coordinator.Subscription{ID: string(id), Person: id, Endpoint: r.URL + "/push", P256dh: phone.P256dh(), Auth: phone.Auth()}
	}
	p.client = push.NewClient(push.ClientOptions{AllowPrivate: true, RootCAs: roots})
	if p.keys, err = push.NewKeys(); err != nil {
		b.Fatal(err)
	}
	sender, err := webpush.New(p.client, p.keys, "laundry@example.org")
	if err != nil {
		b.Fatal(err)
	}
	p.worker = push.NewWorker(push.Config{
		Outbox: p.file, People: func() *coordinator.People { return p.people }, Directory: pushCellar{}, Clock: loop.Wall{}, Sender: sender,
		Unsubscribe: func(context.Context, string) error { return nil }, URL: func(coordinator.Notice) string { return "/r/cellar" },
		Post: buttonPath, Log: slog.New(slog.DiscardHandler),
	})
	return p
}

// due stores n notices, to each person in turn.
func (p *benchPost) due(n int) {
	p.Helper()
	now := time.Now()
	p.file.all = make(chan struct{})
	p.file.open.Store(int64(n))
	set := coordinator.ChangeSet{Unit: "cellar", Expect: p.seq, At: now}
	p.seq++
	for range n {
		p.turn++
		set.Notices = append(set.Notices, coordinator.Notice{
			Subject: coordinator.Subject{Room: "cellar", Turn: coordinator.TurnID(p.turn)}, Kind: coordinator.TurnCalled, Step: 1,
			To: coordinator.PersonID(fmt.Sprintf("p%d", p.turn%len(p.people.Persons))), Machine: 2, MachineKind: queue.Washer,
			Made: now, Until: now.Add(time.Hour), UsefulUntil: now.Add(time.Hour),
		})
	}
	if err := p.file.Commit(p.Context(), set); err != nil {
		p.Fatal(err)
	}
}

// run sets the worker to work, until the function that it returns is called.
func (p *benchPost) run() (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.worker.Run(ctx) }()
	return func() {
		cancel()
		if err := <-done; err != nil {
			p.Error(err)
		}
	}
}

// topics are those of n notices: each has its own, so that a connection cannot
// send the header of one message for the next.
func topics(n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = push.Topic(&coordinator.Notice{Subject: coordinator.Subject{Room: "other", Turn: coordinator.TurnID(i + 1)}}, "p0")
	}
	return out
}

// bare sends a message for each topic as the library alone does, with the same
// client and parallelism.
func (p *benchPost) bare(topics []string) {
	p.Helper()
	to := p.people.Subscriptions["p0"]
	payload := make([]byte, benchPayload)
	var left atomic.Int64
	left.Store(int64(len(topics)))
	var wg sync.WaitGroup
	for range benchPerHost {
		wg.Go(func() {
			for i := left.Add(-1); i >= 0; i = left.Add(-1) {
				resp, err := library.SendNotificationWithContext(context.Background(), slices.Clone(payload), &library.Subscription{
					Endpoint: to.Endpoint, Keys: library.Keys{Auth: to.Auth, P256dh: to.P256dh},
				}, &library.Options{
					HTTPClient: p.client, RecordSize: 2048, Subscriber: "laundry@example.org", TTL: 600, Urgency: library.UrgencyHigh,
					Topic: topics[i], VAPIDPublicKey: p.keys.Public, VAPIDPrivateKey: p.keys.Private,
				})
				if err != nil {
					p.Error(err)
					return
				}
				_ = resp.Body.Close()
			}
		})
	}
	wg.Wait()
}

// BenchmarkNotices: notices per second end to end (outbox, encryption, TLS to a
// push service of this machine, record), and as a ratio to the bare library with
// the same receiver, client and parallelism, in turn; by the wall and by the
// processor time of both sides, which a busy machine disturbs less. Neither pays
// for the other's garbage, nor for that of storing the notices. An iteration is
// 500 notices of each.
func BenchmarkNotices(b *testing.B) {
	const n = 500
	service := newReceiver(b, 0)
	p := newBenchPost(b, service)
	service.expect(200)
	p.bare(topics(200)) // the connection, and what is made once
	var ours, bare, oursCPU, bareCPU time.Duration
	rounds := 0
	others := topics(n)
	for b.Loop() {
		service.expect(n)
		runtime.GC()
		began, used := time.Now(), processorTime()
		p.bare(others)
		bare, bareCPU = bare+time.Since(began), bareCPU+processorTime()-used
		p.due(n)
		service.expect(n)
		runtime.GC()
		began, used = time.Now(), processorTime()
		stop := p.run()
		<-p.file.all
		ours, oursCPU = ours+time.Since(began), oursCPU+processorTime()-used
		stop()
		rounds++
	}
	b.ReportMetric(float64(rounds*n)/ours.Seconds(), "notices/s")
	b.ReportMetric(float64(rounds*n)/bare.Seconds(), "bare/s")
	b.ReportMetric(bare.Seconds()/ours.Seconds(), "ratio")
	b.ReportMetric(bareCPU.Seconds()/oursCPU.Seconds(), "ratio-cpu")
}

// processorTime is what this process has used of the processors.
func processorTime() time.Duration {
	var u syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u) // cannot fail for oneself
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkCommitToReceipt: the time from a commit to the push service's receipt,
// with an idle worker. Run it with -benchtime 1000x.
func BenchmarkCommitToReceipt(b *testing.B) {
	service := newReceiver(b, 0)
	p := newBenchPost(b, service)
	defer p.run()()
	var took []time.Duration
	for b.Loop() {
		service.expect(1)
		p.due(1)
		committed := time.Now()
		p.worker.Wake()
		<-service.all
		took = append(took, time.Since(committed))
		<-p.file.all
	}
	slices.Sort(took)
	ms := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
	b.ReportMetric(ms(took[len(took)/2]), "ms-median")
	b.ReportMetric(ms(took[len(took)*99/100]), "ms-99th")
}

// BenchmarkTenThousandDue: 10,000 notices due at once, half of them to another
// push service, which is as quick, or takes a second for every answer: how long
// the first one's 5,000 take, and by how much the heap grows at most.
func BenchmarkTenThousandDue(b *testing.B) {
	for name, rest := range map[string]time.Duration{"quick": 0, "slow": time.Second} {
		b.Run("other="+name, func(b *testing.B) {
			var took time.Duration
			var most uint64
			rounds := 0
			for b.Loop() {
				b.StopTimer()
				quick, other := newReceiver(b, 0), newReceiver(b, rest)
				p := newBenchPost(b, other, quick)
				p.due(10_000)
				quick.expect(5_000)
				other.expect(1 << 30)
				peak := heapPeak()
				b.StartTimer()
				began := time.Now()
				stop := p.run()
				<-quick.all
				took += time.Since(began)
				b.StopTimer()
				most = max(most, peak())
				stop()
				rounds++
				b.StartTimer()
			}
			b.ReportMetric(took.Seconds()/float64(rounds), "s-for-5000")
			b.ReportMetric(float64(most)/(1<<20), "MiB-peak")
		})
	}
}

// heapPeak watches the heap until the function that it returns is called, which
// says by how much it grew at most, octets.
func heapPeak() func() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	base, most := m.HeapAlloc, m.HeapAlloc
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		for {
			select {
			case <-done:
				return
			case <-time.After(10 * time.Millisecond):
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				most = max(most, m.HeapAlloc)
			}
		}
	}()
	return func() uint64 {
		close(done)
		<-ended
		return most - base
	}
}
