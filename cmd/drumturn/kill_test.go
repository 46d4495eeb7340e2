package main

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/store"
	"drumturn/push"
	"drumturn/push/pushtest"
	"drumturn/queue"
)

// fate is what the push service does with some notices, and what must become of them.
type fate struct {
	name string
	// of is how many notices have it, of 2,000.
	of int
	// answers are to the requests about a notice in turn; the last one stays.
	answers []pushtest.Answer
	// lost: the service takes it once, and its answer is lost.
	lost  bool
	state coordinator.DeliveryState
	why   coordinator.Why
	// trouble is what was wrong with the device in the end.
	trouble coordinator.Trouble
	// slow: it is at a service of its own, whose rests delay no others.
	slow bool
}

var took = pushtest.Answer{Status: 201}

// fates are the answers of RFC 8030 (201, 404, 410, 413, 429) and RFC 9110, and
// what connections do.
var fates = []fate{
	{name: "201", of: 1700, answers: []pushtest.Answer{took}, state: coordinator.Done, why: coordinator.WhySent},
	{name: "500, then 201", of: 60, answers: []pushtest.Answer{{Status: 500}, took}, state: coordinator.Done, why: coordinator.WhySent},
	{name: "429 with Retry-After, then 201", of: 60, answers: []pushtest.Answer{{Status: 429, RetryAfter: "5"}, took}, state: coordinator.Done, why: coordinator.WhySent},
	{name: "half-closed, then 201", of: 20, answers: []pushtest.Answer{{HalfClose: true}, took}, state: coordinator.Done, why: coordinator.WhySent},
	{name: "taken, answer lost", of: 20, answers: []pushtest.Answer{{HalfClose: true, Accept: true}, took}, lost: true, state: coordinator.Done, why: coordinator.WhySent},
	{name: "413, short form taken", of: 30, answers: []pushtest.Answer{{Status: 413}, took}, state: coordinator.Done, why: coordinator.WhySent},
	{name: "413 always", of: 20, answers: []pushtest.Answer{{Status: 413}}, state: coordinator.Dropped, why: coordinator.WhyUnreached, trouble: coordinator.TroubleTooLarge},
	{name: "404", of: 30, answers: []pushtest.Answer{{Status: 404}}, state: coordinator.Dropped, why: coordinator.WhyUnreached, trouble: coordinator.TroubleGone},
	{name: "410", of: 30, answers: []pushtest.Answer{{Status: 410}}, state: coordinator.Dropped, why: coordinator.WhyUnreached, trouble: coordinator.TroubleGone},
	{name: "redirected", of: 20, answers: []pushtest.Answer{{Status: 307}}, state: coordinator.Dropped, why: coordinator.WhyUnreached, trouble: coordinator.TroubleAnswered},
	{name: "stalled, then 201", of: 2, answers: []pushtest.Answer{{Stall: true}, took}, state: coordinator.Done, why: coordinator.WhySent, slow: true},
	{name: "taken, then stalled", of: 2, answers: []pushtest.Answer{{Stall: true, Accept: true}, took}, lost: true, state: coordinator.Done, why: coordinator.WhySent, slow: true},
	{name: "500 until it is too late", of: 4, answers: []pushtest.Answer{{Status: 500}}, state: coordinator.Dropped, why: coordinator.WhyUnreached, trouble: coordinator.TroubleAnswered, slow: true},
}

// ends reports whether devices of that fate are gone for good.
func (f *fate) ends() bool { return f.name == "404" || f.name == "410" }

// takes reports whether the service takes the message at last.
func (f *fate) takes() bool { return f.answers[len(f.answers)-1] == took }

// explains reports whether a row says why. Killed after a device was removed and
// before that was recorded, the next life finds none.
func (f *fate) explains(d *coordinator.Delivery) bool {
	if f.ends() && d.Why == coordinator.Why(coordinator.ReasonNoWay) {
		return len(d.Devices) == 0
	}
	return d.Why == f.why && len(d.Devices) == 1 && d.Devices[0].Trouble() == f.trouble
}

// mortals are the processes of one test, one after another, and what they work on.
type mortals struct {
	*testing.T
	dir        string
	fast, slow *pushtest.Service
	elsewhere  *pushtest.Phone // where redirects lead to
	notices    []coordinator.Notice
	fate       map[string]*fate // by tag
	device     map[string]string

	mu    sync.Mutex
	asked map[string]int     // requests by tag
	taken map[string][]taken // what was accepted, by tag
	heard chan struct{}      // a request
}

// taken is one message that the service has accepted, and the life that sent it.
type taken struct {
	life, topic, plain string
}

// TestKilledWhileSending kills the program (a real process, SIGKILL) again and
// again while it works off an outbox of 2,000 notices (300 with -short). Every
// notice reaches its end. No life sends one twice that was taken; after a kill
// only what was under way or not recorded yet is repeated, under the same topic,
// tag and text, so that it is shown once.
func TestKilledWhileSending(t *testing.T) {
	scale, kills := 1.0, 12
	if testing.Short() {
		scale, kills = 0.15, 4
	}
	seed := uint64(os.Getpid())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	m := newMortals(t, scale)
	each := len(m.notices) * 8 / 10 / kills
	for life := range kills {
		m.live(life, 1+random.IntN(2*each))
	}
	m.live(kills, -1)
	m.check(kills)
}

func newMortals(t *testing.T, scale float64) *mortals {
	t.Helper()
	m := &mortals{
		T: t, dir: t.TempDir(), fast: pushtest.NewOldService(t), slow: pushtest.NewOldService(t), heard: make(chan struct{}),
		fate: map[string]*fate{}, device: map[string]string{}, asked: map[string]int{}, taken: map[string][]taken{},
	}
	m.elsewhere = m.fast.Phone("elsewhere")
	m.fast.Decide(m.decide)
	m.slow.Decide(m.decide)
	keys, err := push.NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	told := mortal{Keys: keys, Start: now, Since: now, Certificates: [][]byte{m.fast.Certificate(), m.slow.Certificate()}}
	for i := range fates {
		for n := range max(int(float64(fates[i].of)*scale), 1) {
			told.Devices = append(told.Devices, m.add(&fates[i], n, now)...)
		}
	}
	rand.Shuffle(len(m.notices), func(i, j int) { m.notices[i], m.notices[j] = m.notices[j], m.notices[i] })
	for i := range m.notices {
		m.notices[i].Made = now.Add(time.Duration(i-len(m.notices)) * time.Millisecond)
	}
	m.store(func(f *store.File) error {
		return f.Commit(t.Context(), coordinator.ChangeSet{Unit: "cellar", At: now, Notices: m.notices})
	})
	data, err := json.Marshal(told)
	if err == nil {
		err = os.WriteFile(filepath.Join(m.dir, "mortal.json"), data, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// add makes the n-th notice of a fate, and the device of its person if that is new:
// ten notices share one, but for those whose device ends.
func (m *mortals) add(f *fate, n int, now time.Time) (fresh []coordinator.Subscription) {
	turn := coordinator.TurnID(len(m.notices) + 1)
	person := coordinator.PersonID(fmt.Sprintf("%s %d", f.name, n/10))
	if f.ends() {
		person = coordinator.PersonID(fmt.Sprintf("%s %d", f.name, n))
	}
	notice := coordinator.Notice{
		Subject: coordinator.Subject{Room: "cellar", Turn: turn}, Kind: coordinator.TurnCalled, Step: 1, To: person,
		Machine: 2, MachineKind: queue.Washer, Until: now.Add(24 * time.Hour), UsefulUntil: now.Add(24 * time.Hour),
	}
	if f.name == "500 until it is too late" {
		notice.UsefulUntil = now.Add(3 * time.Minute)
	}
	m.notices = append(m.notices, notice)
	m.fate[push.Tag(&notice)] = f
	if m.device[string(person)] == "" {
		service := m.fast
		if f.slow {
			service = m.slow
		}
		phone := service.Phone(string(person))
		s, err := push.ValidateSubscription(phone.Endpoint, phone.P256dh(), phone.Auth(), []string{service.Host()})
		if err != nil {
			m.Fatal(err)
		}
		s.Person = person
		m.device[string(person)], fresh = s.ID, append(fresh, s)
	}
	return fresh
}

func (m *mortals) store(do func(*store.File) error) {
	m.Helper()
	f, err := store.Open(filepath.Join(m.dir, "building.db"), store.Options{})
	if err == nil {
		err = do(f)
	}
	if err == nil {
		err = f.Close()
	}
	if err != nil {
		m.Fatal(err)
	}
}

// decide answers a message by its fate.
func (m *mortals) decide(_ *pushtest.Phone, got pushtest.Received) *pushtest.Answer {
	var p push.Payload
	if err := json.Unmarshal(got.Plain, &p); err != nil {
		m.Errorf("a message that is no JSON: %s", got.Plain)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	f := m.fate[p.Tag]
	a := f.answers[min(m.asked[p.Tag], len(f.answers)-1)]
	if f.name == "413, short form taken" {
		a = f.answers[0]
		if p.Body == "" {
			a = took
		}
	}
	m.asked[p.Tag]++
	if a == took || a.Accept {
		m.taken[p.Tag] = append(m.taken[p.Tag], taken{got.Claims.Subject, got.Topic, string(got.Plain)})
	}
	close(m.heard)
	m.heard = make(chan struct{})
	switch {
	case a == took:
		return nil
	case a.Status == 307:
		a.Location = m.elsewhere.Endpoint
	}
	return &a
}

// live runs a process until it has made so many requests, then kills it; a
// negative number lets it end by itself.
func (m *mortals) live(life, requests int) {
	m.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), mortalEnv+"="+m.dir, fmt.Sprintf("%s=%d", mortalLife, life))
	child.Stderr = os.Stderr
	if err := child.Start(); err != nil {
		m.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- child.Wait() }()
	limit := time.After(time.Minute)
	for n := requests; n != 0; n-- {
		m.mu.Lock()
		heard := m.heard
		m.mu.Unlock()
		select {
		case <-heard:
		case err := <-ended:
			if err != nil {
				m.Fatalf("life %d: %v", life, err)
			}
			return
		case <-limit:
			n = 1
			if requests < 0 {
				m.Error("the last life does not end")
			}
		}
	}
	if err := child.Process.Kill(); err != nil {
		m.Fatal(err)
	}
	<-ended
	if status, ok := child.ProcessState.Sys().(syscall.WaitStatus); ok && status.Signal() != syscall.SIGKILL {
		m.Errorf("life %d ended with %v", life, child.ProcessState)
	}
}

// check holds the table of outcomes against the fates.
func (m *mortals) check(kills int) {
	m.Helper()
	for _, s := range []*pushtest.Service{m.fast, m.slow} {
		for _, problem := range s.Problems() {
			if !strings.Contains(problem, "the body breaks off") { // as a kill does to it
				m.Errorf("push service: %s", problem)
			}
		}
	}
	var rows []coordinator.Delivery
	m.store(func(f *store.File) (err error) {
		rows, err = f.Deliveries(m.Context(), len(m.notices)+1)
		return err
	})
	if len(rows) != len(m.notices) {
		m.Errorf("%d rows of %d notices", len(rows), len(m.notices))
	}
	count, requests, again := map[string]int{}, map[string]int{}, map[string]int{}
	repeats := 0
	for i := range rows {
		tag := push.Tag(&rows[i].Notice)
		f := m.fate[tag]
		m.row(f, &rows[i])
		n := m.repeats(f, tag)
		count[f.name]++
		requests[f.name] += m.asked[tag]
		again[f.name] += n
		if !f.lost {
			repeats += n
		}
	}
	for _, f := range fates {
		m.Logf("%-32s %5d notices %-8s %5d requests, %3d taken again", f.name, count[f.name], f.state, requests[f.name], again[f.name])
	}
	if most := kills * 64; repeats > most { // push.Config.Unrecorded
		m.Errorf("%d repeats after %d kills, want at most %d", repeats, kills, most)
	}
	if m.elsewhere.Requests() != 0 {
		m.Error("a redirect was followed")
	}
	m.ended()
}

// row checks what became of a notice in the outbox.
func (m *mortals) row(f *fate, d *coordinator.Delivery) {
	m.Helper()
	if d.State != f.state || !f.explains(d) {
		m.Errorf("%s: %s is %s (%s), want %s", f.name, d.Key, d.State, d.Why, f.state)
	}
	if sent := len(d.Devices) == 1 && d.Devices[0].Sent; sent != (f.state == coordinator.Done) {
		m.Errorf("%s: devices %+v", f.name, d.Devices)
	}
}

// repeats checks how often the service took a notice, and answers how often that
// was more than once.
func (m *mortals) repeats(f *fate, tag string) int {
	m.Helper()
	all := m.taken[tag]
	if (len(all) > 0) != f.takes() {
		m.Errorf("%s: taken %d times", f.name, len(all))
		return 0
	}
	lives := map[string]int{}
	for _, one := range all {
		lives[one.life]++
		if one.topic != all[0].topic || one.plain != all[0].plain {
			m.Errorf("%s: repeated as another message:\n%+v\n%+v", f.name, all[0], one)
		}
	}
	most := 1
	if f.lost {
		most = 2
	}
	for life, n := range lives {
		if n > most {
			m.Errorf("%s: %s sent it %d times", f.name, life, n)
		}
	}
	return max(len(all)-most, 0)
}

// ended checks that the devices which are gone, and no others, were forgotten.
func (m *mortals) ended() {
	m.Helper()
	data, err := os.ReadFile(endedFile(m.dir))
	if err != nil {
		m.Fatal(err)
	}
	var want []string
	for _, n := range m.notices {
		if f := m.fate[push.Tag(&n)]; f.ends() {
			want = append(want, m.device[string(n.To)])
		}
	}
	got := strings.Fields(string(data))
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(slices.Compact(got), want) {
		m.Errorf("%d devices were forgotten, want %d", len(got), len(want))
	}
}
