package main

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/meter"
	"drumturn/push"
	"drumturn/push/pushtest"
	"drumturn/push/words"
)

func TestDirectory(t *testing.T) {
	zone := time.FixedZone("here", 3600)
	d := directory{{ID: "cellar", Name: "Cellar", Zone: time.UTC}, {ID: "attic", Name: "Attic", Zone: zone}}
	if name, z := d.Room("attic"); name != "Attic" || z != zone {
		t.Errorf("attic is %q in %v", name, z)
	}
	if name, z := d.Room("vault"); name != "" || z != nil {
		t.Errorf("a room that is not there is %q in %v", name, z)
	}
}

// TestAdviceBeforeAndAfterATrial: what needs no trial is said at once; what was
// found replaces it.
func TestAdviceBeforeAndAfterATrial(t *testing.T) {
	v := &advice{setup: push.Setup{PublicURL: "http://laundry.weiher.org", TLS: "off", Hosts: push.DefaultHosts()}}
	about := func() (all string) {
		for _, f := range v.get() {
			all += f.Text(words.English()) + "\n"
		}
		return all
	}
	if got := about(); !strings.Contains(got, "https") || !strings.Contains(got, "subject") {
		t.Errorf("before a trial it says\n%s", got)
	}
	found := []push.Finding{{Level: push.Bad, Found: push.NameLoopback, Remedy: push.PointHome}}
	v.found.Store(&found)
	if got := about(); strings.Count(got, "\n") != 1 || !strings.Contains(got, "loopback") {
		t.Errorf("after a trial it says\n%s", got)
	}
}

// TestAdviceLevels: every level of findings has a name that the pages know.
func TestAdviceLevels(t *testing.T) {
	for _, level := range []push.Level{push.OK, push.Warn, push.Bad} {
		if adviceLevels[level] == "" {
			t.Errorf("level %v has no name", level)
		}
	}
	if len(adviceLevels) != 3 {
		t.Errorf("there are %d levels", len(adviceLevels))
	}
}

// TestPageAdvice: the manager is told of push and of meters in trouble.
func TestPageAdvice(t *testing.T) {
	w := wiring(t, metered("washer", "driver = \"httppush\"\ntoken = \""+postToken+"\"\n", ""), nil)
	s := w.setup()
	s.drivers = map[string]meter.Driver{"broken": brokenDriver{}}
	a, err := newApp(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	w.app = a
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- a.run(ctx) }()
	w.end = func() { cancel(); <-ended; a.close(); w.end = func() {} }
	w.until("the trouble", func() bool { return len(a.meterAdvice(words.English())) > 0 })
	got := a.meterAdvice(words.English())
	if len(got) != 1 || got[0].Level != "bad" || !strings.Contains(got[0].Text, "Meter attic: it cannot be read. The driver says: the wire is loose") || got[0].Do == "" {
		t.Errorf("it says %+v", got)
	}
	if de := a.pageAdvice("de"); !strings.Contains(de[len(de)-1].Text, "Zähler attic") || !strings.Contains(de[len(de)-1].Do, "Hausdatei") {
		t.Errorf("in German it says %+v", de)
	}
	all := a.pageAdvice("en")
	if len(all) <= len(got) || all[len(all)-1] != got[0] {
		t.Errorf("beside push it says %+v", all)
	}
	for _, l := range words.All()[1:] {
		for i, one := range a.pageAdvice(l.Code()) {
			if one.Text == all[i].Text || one.Do != "" && one.Do == all[i].Do || one.Level != all[i].Level {
				t.Errorf("in %s it says %+v", l.Name(), one)
			}
		}
	}
	for _, reason := range meter.Reasons() {
		for _, l := range words.All() {
			if !l.Has("setup.meter."+reason.Word()) || !l.Has("setup.meter-do."+reason.Word()) {
				t.Errorf("%s cannot say %q", l.Name(), reason)
			}
		}
	}
	for _, one := range all {
		if one.Level == "" || one.Text == "" {
			t.Errorf("an empty line: %+v", one)
		}
	}
}

// brokenDriver says that its meter cannot be read.
type brokenDriver struct{}

func (brokenDriver) Meters() []string { return []string{"attic"} }

func (brokenDriver) Run(ctx context.Context, sink meter.Sink) error {
	sink.Fail("attic", errors.New("the wire is loose"))
	<-ctx.Done()
	return nil
}

// TestMeterOfNobody: a driver's meter that no machine has is refused, and said so.
func TestMeterOfNobody(t *testing.T) {
	w := wiring(t, handBuilding, nil)
	s := w.setup()
	s.drivers = map[string]meter.Driver{"stray": strayDriver{}}
	a, err := newApp(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	w.app = a
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- a.run(ctx) }()
	w.end = func() { cancel(); <-ended; a.close(); w.end = func() {} }
	w.until("the refusal", func() bool {
		m, ok := health(w).Meter("stray")
		return ok && m.Refused[meter.UnknownMeter] == 1
	})
	if m, _ := health(w).Meter("stray"); m.Taken != 0 {
		t.Errorf("%+v", m)
	}
}

type strayDriver struct{}

func (strayDriver) Meters() []string { return []string{"stray"} }

func (strayDriver) Run(ctx context.Context, sink meter.Sink) error {
	_ = sink.Deliver(ctx, "stray", meter.Power(3))
	<-ctx.Done()
	return nil
}

// TestNewKeysAreAnnounced: when the keys are lost, the log says that phones
// must switch notices on again, and how many.
func TestNewKeysAreAnnounced(t *testing.T) {
	w := wiring(t, pushBuilding, nil).start()
	anna := w.visitor()
	anna.join("1", "anna")
	anna.subscribes(t)
	w.end()
	w.start()
	w.end()
	if strings.Contains(w.log.String(), "new push keys") {
		t.Errorf("keys that are there are said to be new:\n%s", w.log.String())
	}
	w.rm("data/push-keys.json")
	w.start()
	if log := w.log.String(); !strings.Contains(log, "new push keys") || !strings.Contains(log, "phones=1") {
		t.Errorf("lost keys are not announced:\n%s", log)
	}
}

var pushBuilding = strings.Replace(handBuilding, "data =", "push_subject = \"caretaker@weiher.org\"\npush_hosts = [\"push.weiher.org\"]\ndata =", 1)

// subscribes switches notices on at a push service that is never reached. The
// keys are those of RFC 8291 section 5.
func (v *visitor) subscribes(t *testing.T) {
	t.Helper()
	if status, text := v.post("/me/devices", "endpoint", "https://push.weiher.org/a",
		"p256dh", "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4", "auth", "BTBZMqHH6r4Tts7J_aSIgg"); status >= 300 {
		t.Fatalf("%d %s", status, text)
	}
}

// TestNoticeReachesThePhone: a call goes from the queue to the phone without
// anybody asking, and a device that is gone is forgotten.
func TestNoticeReachesThePhone(t *testing.T) {
	w, _, anna, phone := phoned(t)
	if status, _ := anna.post("/r/cellar/turns", "need", "wash"); status != http.StatusOK {
		t.Fatal(status)
	}
	wait, stop := context.WithTimeout(t.Context(), patience)
	defer stop()
	if _, err := phone.Await(wait, 1); err != nil {
		t.Fatalf("%v\n%s", err, w.log.String())
	}
	got := pushPayloads(t, phone.Messages())
	if len(got) != 1 || got[0].URL != "/r/cellar" || !strings.Contains(got[0].Title+got[0].Body, "Cellar") && got[0].Title == "" {
		t.Errorf("the phone shows %+v", got)
	}
	// RFC 8030 section 7.3: 410 Gone, the subscription has ended.
	phone.Next(pushtest.Answer{Status: 410})
	if status, _ := anna.post("/r/cellar/turns", "need", "dry"); status != http.StatusOK {
		t.Fatal(status)
	}
	w.until("the device is forgotten", func() bool { return len(w.app.house.People().Subscriptions) == 0 })
}

// TestSetupOfAdvice: what is tried is what the file says.
func TestSetupOfAdvice(t *testing.T) {
	w := wiring(t, pushBuilding, nil).open()
	got := w.app.advice.setup
	if got.PublicURL != "http://localhost:1" || got.TLS != config.TLSOff || got.Subject != "caretaker@weiher.org" || len(got.Hosts) != 1 {
		t.Errorf("%+v", got)
	}
	if w.app.worker == nil {
		t.Error("with a subject there is no worker")
	}
}

// TestOutboxWaits: without a subject nothing is sent and nothing lost: rows wait.
func TestOutboxWaits(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	anna := w.visitor()
	anna.join("1", "anna")
	if status, _ := anna.post("/r/cellar/turns", "need", "wash"); status != http.StatusOK {
		t.Fatal(status)
	}
	w.settle()
	rows, err := w.app.store.Deliveries(t.Context(), 10)
	if err != nil || len(rows) != 1 || rows[0].Notice.Kind != coordinator.TurnCalled || rows[0].State != coordinator.Pending || rows[0].Tries != 0 {
		t.Errorf("%+v, %v", rows, err)
	}
}
