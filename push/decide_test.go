package push

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
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
		for _, r := range Recipients(&c.n, people) {
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
	owner := Recipient{Known: true}
	asked := Recipient{Known: true, ForHome: true, Person: coordinator.Person{TellForHome: true}}
	unasked := Recipient{Known: true, ForHome: true}
	for _, c := range []struct {
		name    string
		n       *coordinator.Notice
		r       Recipient
		devices int
		after   time.Duration
		want    Reason
	}{
		{"owner", n, owner, 1, 0, SendNow},
		{"just in time", n, owner, 1, time.Hour - 1, SendNow},
		{"at the last instant", n, owner, 1, time.Hour, TooLate},
		{"no end given, within an hour", open, owner, 1, time.Hour - 1, SendNow},
		{"no end given, after an hour", open, owner, 1, time.Hour, TooLate},
		{"no device", n, owner, 0, 0, NoDevice},
		{"too late is said before no device", n, owner, 0, 2 * time.Hour, TooLate},
		{"of the home, asked for it", n, asked, 2, 0, SendNow},
		{"of the home, did not ask", n, unasked, 2, 0, NotWanted},
		{"moved out", n, Recipient{}, 1, 0, MovedOut},
	} {
		if got := Decide(c.n, c.r, c.devices, noon.Add(c.after)); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

func TestReasonWords(t *testing.T) {
	seen := map[string]bool{}
	for r := SendNow; r <= MovedOut; r++ {
		if word := r.String(); word == "?" || seen[word] {
			t.Errorf("reason %d is %q", r, word)
		} else {
			seen[word] = true
		}
	}
	if Reason(0).String() != "?" || Reason(99).String() != "?" {
		t.Error("unknown reasons have words")
	}
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
		p := planRow(c.row, people, c.at)
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
		want   string
	}{
		{toManagers, nobody, "no manager yet"},
		{toManagers, peopleWith(), NoDevice.String()},
		{called(1, noon), nobody, MovedOut.String()},
	} {
		row := conclude(planRow(delivery(c.n), c.people, noon).row, noon, time.UTC)
		if row.State != coordinator.Dropped || !strings.Contains(row.Why, c.want) {
			t.Errorf("%v %q, want %q", row.State, row.Why, c.want)
		}
	}
}

func TestConclude(t *testing.T) {
	sent := coordinator.DeviceResult{Device: "s", Sent: true, Status: 201}
	soon := coordinator.DeviceResult{Device: "n", Status: 503, Next: noon.Add(time.Minute)}
	later := coordinator.DeviceResult{Device: "l", Error: "no route", Next: noon.Add(time.Hour)}
	for _, c := range []struct {
		name    string
		results []coordinator.DeviceResult
		state   coordinator.DeliveryState
		next    time.Time
		why     string
	}{
		{"one", []coordinator.DeviceResult{sent}, coordinator.Done, noon, "sent to one device"},
		{"two", []coordinator.DeviceResult{sent, sent}, coordinator.Done, noon, "sent to 2 devices"},
		{"the earliest next try counts", []coordinator.DeviceResult{sent, later, soon}, coordinator.Pending, soon.Next,
			"not sent everywhere yet: next try at 12:01:00; no answer from the push service (no route); the push service answered 503"},
		{"gone only", []coordinator.DeviceResult{{Gone: true, Status: 410}}, coordinator.Dropped, noon,
			"reached no device; a device's subscription had ended and was removed"},
		{"one sent, one gone", []coordinator.DeviceResult{sent, {Gone: true}}, coordinator.Done, noon,
			"sent to one device; a device's subscription had ended and was removed"},
		{"too large twice", []coordinator.DeviceResult{{Status: 413}, {Status: 413}}, coordinator.Dropped, noon,
			"reached no device; the push service found even the short message too large"},
	} {
		row := conclude(delivery(called(1, noon), c.results...), noon, time.UTC)
		if row.State != c.state || !row.NextAt.Equal(c.next) || row.Why != c.why || !row.Changed.Equal(noon) {
			t.Errorf("%s: %v, next %v, %q", c.name, row.State, row.NextAt, row.Why)
		}
	}
}
