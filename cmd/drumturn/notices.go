package main

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"drumturn/coordinator"
	"drumturn/push"
	"drumturn/push/mail"
	"drumturn/push/webpush"
	"drumturn/push/words"
	"drumturn/ui"
)

// wirePush makes the outbox worker. Without a subject for push services and a mail
// server there is none: residents still have the pages, and rows wait until there is one.
func (a *app) wirePush(context.Context) error {
	a.advice.setup = push.Setup{
		PublicURL: a.file.Server.PublicURL, TLS: a.file.Server.TLS.Mode,
		Subject: a.file.Server.PushSubject, Hosts: a.pushHosts(),
	}
	var err error
	a.keys, err = push.LoadOrCreateKeys(a.dataFile("push-keys.json"))
	if err != nil {
		return err
	}
	for _, warning := range a.keys.Warnings {
		a.log.Warn(warning)
	}
	if n := len(a.house.People().Subscriptions); a.keys.Made && n > 0 {
		a.log.Warn("new push keys were made: phones that had notices switched on must switch them on again", "phones", n)
	}
	if err := a.wireMail(); err != nil {
		return err
	}
	sender := mail.Router{}
	ways := push.Ways{NoPhones: a.file.Server.PushSubject == "", Mail: a.mail != nil, Caretakers: a.file.Mail.Managers, CaretakersLang: a.file.Mail.Language}
	if ways.NoPhones && !ways.Mail {
		return nil
	}
	if !ways.NoPhones {
		if sender.Phones, err = webpush.New(push.NewClient(a.client), a.keys.Keys, a.file.Server.PushSubject); err != nil {
			return err
		}
	}
	if ways.Mail {
		sender.Mail = mail.Notices{Server: a.mail}
	}
	var outbox push.Outbox = a.store
	if a.outbox != nil {
		outbox = a.outbox(outbox)
	}
	a.worker = push.NewWorker(push.Config{
		Outbox: outbox, People: a.house.People, Directory: directory(a.file.Rooms), Clock: a.clock, Sender: sender, Ways: ways, Log: a.log,
		Unsubscribe: func(ctx context.Context, device string) error {
			return a.house.DoPeople(ctx, coordinator.Unsubscribe{ID: device})
		},
		URL:  func(n coordinator.Notice) string { return roomPath(n.Subject) },
		Post: buttonPath,
	})
	return nil
}

func roomPath(s coordinator.Subject) string { return "/r/" + string(s.Room) }

// buttonPath is where a notice's buttons are posted to; empty for one that is
// neither about a load nor about a turn.
func buttonPath(n coordinator.Notice) string {
	switch {
	case n.Subject.Load != 0:
		return fmt.Sprintf("%s/loads/%d", roomPath(n.Subject), n.Subject.Load)
	case n.Subject.Turn != 0:
		return fmt.Sprintf("%s/turns/%d", roomPath(n.Subject), n.Subject.Turn)
	}
	return ""
}

func (a *app) pushHosts() []string {
	if len(a.file.Server.PushHosts) > 0 {
		return a.file.Server.PushHosts
	}
	return push.DefaultHosts()
}

// wakeWorker wakes the worker after each commit that changed a room.
func (a *app) wakeWorker(ctx context.Context) {
	committed, stop := a.house.Committed()
	defer stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-committed:
			a.worker.Wake()
		}
	}
}

// directory tells the worker of the rooms.
type directory []coordinator.Plan

// Room gives a room's name and zone.
func (d directory) Room(id coordinator.RoomID) (string, *time.Location) {
	for i := range d {
		if d[i].ID == id {
			return d[i].Name, d[i].Zone
		}
	}
	return "", nil
}

// adviceEvery is how often it is tried whether notices can work here.
const adviceEvery = 10 * time.Minute

// advice answers "can notices work here?". What must be tried on the network is
// tried in the background, so that no page waits for it.
type advice struct {
	setup push.Setup
	found atomic.Pointer[[]push.Finding]
}

// run tries now and then until ctx ends.
func (v *advice) run(ctx context.Context) {
	prober := push.NewProber()
	for {
		trial, cancel := context.WithTimeout(ctx, time.Minute)
		found := push.Advice(v.setup, prober.Probe(trial, v.setup, time.Now()))
		cancel()
		v.found.Store(&found)
		select {
		case <-ctx.Done():
			return
		case <-time.After(adviceEvery):
		}
	}
}

// get returns the newest findings; before the first trial, those that need none.
func (v *advice) get() []push.Finding {
	if found := v.found.Load(); found != nil {
		return *found
	}
	return push.Advice(v.setup, push.Probes{})
}

// adviceLevels are the levels of findings as the pages name them.
var adviceLevels = map[push.Level]string{push.OK: "good", push.Warn: "note", push.Bad: "bad"}

// pageAdvice is what the manager's page says about notices and meters.
func (a *app) pageAdvice(lang string) []ui.Advice {
	say := words.For(lang)
	var out []ui.Advice
	for _, f := range a.advice.get() {
		out = append(out, ui.Advice{Level: adviceLevels[f.Level], Text: f.Text(say), Do: f.Do(say)})
	}
	if a.worker != nil {
		health := a.worker.Health()
		for _, alarm := range health.Alarms {
			out = append(out, ui.Advice{Level: "bad", Text: alarm.Text(say)})
		}
		if health.Trouble != "" {
			out = append(out, ui.Advice{Level: "bad", Text: health.TroubleText(say)})
		}
	}
	return append(out, a.meterAdvice(say)...)
}

// noWayToManager says for the wall and for the manager's page that nothing can
// be told to any manager. A building without a manager yet is not said to have none
// to reach: its first page says what to do.
func (a *app) noWayToManager(lang string) (everybody, manager string) {
	people := a.house.People()
	if !people.HasManager() {
		return "", ""
	}
	var health push.Health
	ways := push.Ways{NoPhones: true}
	if a.worker != nil {
		health, ways = a.worker.Health(), a.worker.Ways
	}
	reach := push.ReachManagers(people, health, ways, words.For(lang))
	return reach.Everybody, reach.Manager
}

// meterAdvice is what the manager should know about the meters.
func (a *app) meterAdvice(l *words.Language) []ui.Advice {
	var out []ui.Advice
	for _, m := range a.meters.Health().Meters {
		if m.Trouble == "" {
			continue
		}
		what := l.Say("setup.meter.text", "meter", m.Meter, "trouble", l.Say("setup.meter."+m.Reason.Word()))
		out = append(out, ui.Advice{
			Level: "bad", Text: what + " " + l.Say("setup.meter.detail", "detail", m.Trouble), Do: l.Say("setup.meter-do." + m.Reason.Word()),
		})
	}
	return out
}
