package push

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/queue"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func TestRecipients(t *testing.T) {
	people := peopleWith()
	for _, c := range []struct {
		name string
		n    coordinator.Notice
		want string
	}{
		{"a call is for the person alone", coordinator.Notice{Kind: coordinator.TurnCalled, To: "a"}, "a"},
		{"a nudge is for the owner alone", coordinator.Notice{Kind: coordinator.LoadNudge, To: "a"}, "a"},
		{"a ready load concerns the home", coordinator.Notice{Kind: coordinator.LoadReady, To: "a"}, "a b(home) b2(home)"},
		{"of somebody without a home", coordinator.Notice{Kind: coordinator.LoadReady, To: "m"}, "m"},
		{"of somebody who moved out", coordinator.Notice{Kind: coordinator.LoadReady, To: "z"}, "z(unknown)"},
		{"every manager", coordinator.Notice{Kind: coordinator.LoadLeft, Role: coordinator.Managers}, "m n"},
		{"nobody at all", coordinator.Notice{Kind: coordinator.LoadLeft}, ""},
	} {
		var got []string
		for _, r := range (&Ways{}).Recipients(&c.n, people) {
			word := string(r.Person.ID)
			if r.ForHome {
				word += "(home)"
			}
			if !r.Known {
				word += "(unknown)"
			}
			got = append(got, word)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

func TestDecide(t *testing.T) {
	n := &coordinator.Notice{Kind: coordinator.LoadReady, Made: noon, UsefulUntil: noon.Add(time.Hour)}
	open := &coordinator.Notice{Kind: coordinator.LoadReady, Made: noon}
	call := &coordinator.Notice{Kind: coordinator.TurnCalled, Made: noon, UsefulUntil: noon.Add(time.Hour)}
	owner := Recipient{Known: true}
	like := func(p coordinator.Person) Recipient { return Recipient{Known: true, Person: p} }
	asked := Recipient{Known: true, ForHome: true, Person: coordinator.Person{TellForHome: true}}
	nudge, again := &coordinator.Newer{Kind: coordinator.LoadNudge, Made: noon}, &coordinator.Newer{Kind: coordinator.LoadReady, Made: noon}
	siesta := coordinator.Quiet{From: 12 * 60, To: 15 * 60}
	off := []coordinator.NoticeKind{coordinator.LoadReady}
	for _, c := range []struct {
		name  string
		n     *coordinator.Notice
		r     Recipient
		ways  int
		newer *coordinator.Newer
		after time.Duration
		want  coordinator.Reason
		until time.Duration // after noon
	}{
		{"owner", n, owner, 1, nil, 0, coordinator.ReasonNow, 0},
		{"just in time", n, owner, 1, nil, time.Hour - 1, coordinator.ReasonNow, 0},
		{"at the last instant", n, owner, 1, nil, time.Hour, coordinator.ReasonLate, 0},
		{"no end given, within an hour", open, owner, 1, nil, time.Hour - 1, coordinator.ReasonNow, 0},
		{"no end given, after an hour", open, owner, 1, nil, time.Hour, coordinator.ReasonLate, 0},
		{"no device", n, owner, 0, nil, 0, coordinator.ReasonNoWay, 0},
		{"too late is said before no device", n, owner, 0, nil, 2 * time.Hour, coordinator.ReasonLate, 0},
		{"of the home, asked for it", n, asked, 2, nil, 0, coordinator.ReasonNow, 0},
		{"of the home, did not ask", n, Recipient{Known: true, ForHome: true}, 2, nil, 0, coordinator.ReasonUnwanted, 0},
		{"moved out", n, Recipient{}, 1, nil, 0, coordinator.ReasonMovedOut, 0},

		{"the kind is switched off", n, like(coordinator.Person{Off: off}), 1, nil, 0, coordinator.ReasonUnwanted, 0},
		{"another kind is", call, like(coordinator.Person{Off: off}), 1, nil, 0, coordinator.ReasonNow, 0},
		{"muted", n, like(coordinator.Person{MutedUntil: noon.Add(time.Minute)}), 1, nil, 0, coordinator.ReasonMuted, time.Minute},
		{"no longer muted", n, like(coordinator.Person{MutedUntil: noon.Add(time.Minute)}), 1, nil, time.Minute, coordinator.ReasonNow, 0},
		{"muted holds for calls too", call, like(coordinator.Person{MutedUntil: noon.Add(time.Minute)}), 1, nil, 0, coordinator.ReasonMuted, time.Minute},

		{"quiet hours", n, like(coordinator.Person{Quiet: siesta}), 1, nil, 0, coordinator.ReasonLater, 3 * time.Hour},
		{"they do not delay a call", call, like(coordinator.Person{Quiet: siesta}), 1, nil, 0, coordinator.ReasonNow, 0},
		{"when they end it is told", n, like(coordinator.Person{Quiet: siesta}), 1, nil, 3 * time.Hour, coordinator.ReasonNow, 0},
		{"and is of use as long as by day", n, like(coordinator.Person{Quiet: siesta}), 1, nil, 4*time.Hour - 1, coordinator.ReasonNow, 0},
		{"and no longer", n, like(coordinator.Person{Quiet: siesta}), 1, nil, 4 * time.Hour, coordinator.ReasonLate, 0},
		{"a call is not", call, like(coordinator.Person{Quiet: siesta}), 1, nil, time.Hour, coordinator.ReasonLate, 0},
		{"quiet, but no device", n, like(coordinator.Person{Quiet: siesta}), 0, nil, 0, coordinator.ReasonNoWay, 0},

		{"a newer notice", n, owner, 1, nudge, 0, coordinator.ReasonReplaced, 0},
		{"a newer one that is not wanted", n, like(coordinator.Person{Off: []coordinator.NoticeKind{coordinator.LoadNudge}}), 1, nudge, 0, coordinator.ReasonNow, 0},
		{"a newer one that the home does not get", n, asked, 1, nudge, 0, coordinator.ReasonNow, 0},
		{"a newer one that the home gets", n, asked, 1, again, 0, coordinator.ReasonReplaced, 0},
		{"replaced is said before quiet", n, like(coordinator.Person{Quiet: siesta}), 1, nudge, 0, coordinator.ReasonReplaced, 0},
	} {
		got := Decide(Case{Notice: c.n, Who: c.r, Phones: c.ways, Newer: c.newer, Now: noon.Add(c.after)})
		if want := noon.Add(c.until); got.Reason != c.want || c.until != 0 && !got.Until.Equal(want) || c.until == 0 && !got.Until.IsZero() {
			t.Errorf("%s: %v until %v", c.name, got.Reason, got.Until)
		}
	}
}

// TestDecideByTheLocalClock: quiet hours are those of the room's clock, and of
// the days when it changes too. 2026-03-29 and 2026-10-25 by Directive
// 2000/84/EC, articles 2 and 3.
func TestDecideByTheLocalClock(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	who := Recipient{Known: true, Person: coordinator.Person{Lang: "de-AT", Quiet: coordinator.Quiet{From: 22 * 60, To: 7 * 60}}}
	for made, want := range map[string]string{
		"2026-03-28T22:30:00+01:00": "2026-03-29T07:00:00+02:00", // after 7.5 hours
		"2026-10-24T22:30:00+02:00": "2026-10-25T07:00:00+01:00", // after 9.5
		"2026-06-10T22:30:00+02:00": "2026-06-11T07:00:00+02:00",
	} {
		at, _ := time.Parse(time.RFC3339, made)
		n := &coordinator.Notice{Kind: coordinator.LoadNudge, Made: at, UsefulUntil: at.Add(30 * time.Minute)}
		d := Decide(Case{Notice: n, Who: who, Phones: 1, Zone: zone, Now: at})
		if got := d.Until.In(zone).Format(time.RFC3339); d.Reason != coordinator.ReasonLater || got != want || d.Lang != "de-AT" {
			t.Errorf("made at %s: %v until %s in %q", made, d.Reason, got, d.Lang)
		}
		if left := d.Deadline.Sub(d.Until); left != 30*time.Minute {
			t.Errorf("made at %s: worth sending for %v in the morning", made, left)
		}
		if d = Decide(Case{Notice: n, Who: who, Phones: 1, Zone: zone, Now: d.Until}); d.Reason != coordinator.ReasonNow {
			t.Errorf("in the morning: %v", d.Reason)
		}
	}
}

// TestDecideLaws: whatever the case, a decision to tell later is for a time that
// is ahead, in time to be of use, and then it is to tell now.
func TestDecideLaws(t *testing.T) {
	kinds := append(coordinator.ResidentKinds(), coordinator.ManagerKinds()...)
	rapid.Check(t, func(t *rapid.T) {
		minutes := func(name string, most int) time.Duration {
			return time.Duration(rapid.IntRange(0, most).Draw(t, name)) * time.Minute
		}
		kind := rapid.SampledFrom(kinds).Draw(t, "kind")
		n := &coordinator.Notice{Kind: kind, Made: noon, UsefulUntil: noon.Add(minutes("useful", 2000))}
		c := Case{Notice: n, Phones: rapid.IntRange(0, 2).Draw(t, "phones"), Mail: rapid.Bool().Draw(t, "mail"), Now: noon.Add(minutes("now", 3000))}
		c.Who = Recipient{Known: rapid.Bool().Draw(t, "known"), ForHome: rapid.Bool().Draw(t, "for home"), Person: coordinator.Person{
			Quiet:       coordinator.Quiet{From: queue.Clock(rapid.IntRange(-1, 1439).Draw(t, "from")), To: queue.Clock(rapid.IntRange(-1, 1439).Draw(t, "to"))},
			TellForHome: rapid.Bool().Draw(t, "tell for home"), MutedUntil: noon.Add(minutes("muted", 3000)),
		}}
		if rapid.Bool().Draw(t, "newer") {
			c.Newer = &coordinator.Newer{Kind: rapid.SampledFrom(kinds).Draw(t, "newer kind")}
		}
		d := Decide(c)
		if !coordinator.Why(d.Reason).Known() {
			t.Fatalf("no reason that is known: %q", d.Reason)
		}
		if told := d.Reason == coordinator.ReasonNow; (d.Mail != "") != (told && c.Mail) || told && c.Phones == 0 && !d.Mail.ByMail() {
			t.Fatalf("%s, by mail %q", d.Reason, d.Mail)
		}
		if d.Reason != coordinator.ReasonLater {
			return
		}
		if !d.Until.After(c.Now) || !kind.Waits() || d.Deadline.Before(d.Until) {
			t.Fatalf("later at %v, of use until %v", d.Until, d.Deadline)
		}
		c.Now = d.Until
		if then := Decide(c); then.Reason != coordinator.ReasonNow && d.Deadline.After(d.Until) {
			t.Fatalf("at %v it says %v", d.Until, then.Reason)
		}
	})
}

// whyOf is all that a row says of why it stands as it does: the reason, the
// phones and addresses that were served, and what was wrong with the others.
func whyOf(row coordinator.Delivery) string {
	phones, letters := row.Served()
	out := fmt.Sprint(row.Why, " ", phones, " ", letters)
	for i := range row.Devices {
		if t := row.Devices[i].Trouble(); t != coordinator.TroubleNone {
			out += " " + string(t)
		}
	}
	return out
}

func delivery(n coordinator.Notice, results ...coordinator.DeviceResult) coordinator.Delivery {
	return coordinator.Delivery{Key: n.Key(), Notice: n, State: coordinator.Pending, NextAt: n.Made, Devices: results}
}

func TestPlanRow(t *testing.T) {
	people := peopleWith(device("d1", "a", "h"), device("d2", "a", "h"), device("d3", "b", "h"), device("d4", "b2", "h"))
	ready := called(1, noon)
	ready.Kind = coordinator.LoadReady
	later := noon.Add(time.Minute)
	for _, c := range []struct {
		name string
		row  coordinator.Delivery
		at   time.Time
		due  string
		next string // devices that still have a next try
	}{
		{"new call", delivery(called(1, noon)), noon, "d1 d2", ""},
		{"new ready load, also for the home", delivery(ready), noon, "d1 d2 d3", ""},
		{"one served", delivery(called(1, noon), coordinator.DeviceResult{Device: "d1", Sent: true}), noon, "d2", ""},
		{"one gone, one given up", delivery(called(1, noon), coordinator.DeviceResult{Device: "d1", Gone: true}, coordinator.DeviceResult{Device: "d2", Status: 403}), noon, "", ""},
		{"one to be tried later", delivery(called(1, noon), coordinator.DeviceResult{Device: "d1", Next: later}), noon, "d2", "d1"},
		{"its time has come", delivery(called(1, noon), coordinator.DeviceResult{Device: "d1", Next: later}), later, "d1 d2", "d1"},
		{"a device removed meanwhile", delivery(called(1, noon), coordinator.DeviceResult{Device: "d9", Next: later}), noon, "d1 d2", ""},
		{"too late by now", delivery(called(1, noon), coordinator.DeviceResult{Device: "d1", Next: later}), noon.Add(time.Hour), "", ""},
	} {
		before := fmt.Sprint(c.row.Devices)
		p := (&Ways{}).planRow(c.row, people, time.UTC, c.at)
		var due, next []string
		for _, d := range p.due {
			due = append(due, d.device.ID)
		}
		for _, d := range p.row.Devices {
			if !d.Next.IsZero() {
				next = append(next, d.Device)
			}
		}
		if strings.Join(due, " ") != c.due || strings.Join(next, " ") != c.next {
			t.Errorf("%s: due %v, later %v", c.name, due, next)
		}
		if fmt.Sprint(c.row.Devices) != before {
			t.Errorf("%s: the row it was given has changed", c.name)
		}
	}
}

func TestPlanRowSaysWhyNobody(t *testing.T) {
	nobody := &coordinator.People{}
	toManagers := called(1, noon)
	toManagers.To, toManagers.Role = "", coordinator.Managers
	for _, c := range []struct {
		n      coordinator.Notice
		people *coordinator.People
		want   coordinator.Why
	}{
		{toManagers, nobody, coordinator.WhyNoManager},
		{toManagers, peopleWith(), coordinator.Why(coordinator.ReasonNoWay)},
		{called(1, noon), nobody, coordinator.Why(coordinator.ReasonMovedOut)},
	} {
		row := conclude((&Ways{}).planRow(delivery(c.n), c.people, time.UTC, noon).row, noon)
		if row.State != coordinator.Dropped || row.Why != c.want {
			t.Errorf("%v %q, want %q", row.State, row.Why, c.want)
		}
	}
}

func TestConclude(t *testing.T) {
	sent := coordinator.DeviceResult{Device: "s", Sent: true, Status: 201}
	soon := coordinator.DeviceResult{Device: "n", Status: 503, Next: noon.Add(time.Minute)}
	later := coordinator.DeviceResult{Device: "l", Error: "no route", Tries: 1, Next: noon.Add(time.Hour)}
	for _, c := range []struct {
		name    string
		results []coordinator.DeviceResult
		state   coordinator.DeliveryState
		next    time.Time
		why     string
	}{
		{"one", []coordinator.DeviceResult{sent}, coordinator.Done, noon, "sent 1 0"},
		{"two", []coordinator.DeviceResult{sent, sent}, coordinator.Done, noon, "sent 2 0"},
		{"the earliest next try counts", []coordinator.DeviceResult{sent, later, soon}, coordinator.Pending, soon.Next,
			"retry 1 0 silent answered"},
		{"gone only", []coordinator.DeviceResult{{Gone: true, Status: 410}}, coordinator.Dropped, noon,
			"unreached 0 0 gone"},
		{"one sent, one gone", []coordinator.DeviceResult{sent, {Gone: true}}, coordinator.Done, noon,
			"sent 1 0 gone"},
		{"too large twice", []coordinator.DeviceResult{{Status: 413}, {Status: 413}}, coordinator.Dropped, noon,
			"unreached 0 0 too-large too-large"},
	} {
		row := conclude(delivery(called(1, noon), c.results...), noon)
		if row.State != c.state || !row.NextAt.Equal(c.next) || whyOf(row) != c.why || !row.Changed.Equal(noon) {
			t.Errorf("%s: %v, next %v, %q", c.name, row.State, row.NextAt, row.Why)
		}
	}
}
