package coordinator

import (
	"slices"
	"testing"
	"time"

	"drumturn/queue"
)

// TestChoices: what a person wants to hear of is kept in one order, each kind
// once; what is no kind, no time of day, or nobody's choice is refused and
// changes nothing.
func TestChoices(t *testing.T) {
	w := newTown(t)
	w.joinAs("anna", "12")
	quiet := Quiet{From: 22 * 60, To: 7 * 60}
	w.do(SetChoices{Person: "anna", Off: []NoticeKind{LoadNudge, TurnMissed, LoadNudge}, Quiet: quiet, TellForHome: true})
	for _, c := range []struct {
		ev  SetChoices
		key string
	}{
		{SetChoices{Person: "anna", Off: []NoticeKind{"weather"}}, "choices.kind"},
		{SetChoices{Person: "anna", Quiet: Quiet{From: 24 * 60, To: 60}}, "choices.quiet"},
		{SetChoices{Person: "anna", Quiet: Quiet{From: 60, To: -2}}, "choices.quiet"},
	} {
		w.refused(c.ev, c.key)
	}
	if w.try(SetChoices{Person: "nobody"}) == nil {
		t.Error("nobody made a choice")
	}
	anna := w.people.Persons["anna"]
	if !slices.Equal(anna.Off, []NoticeKind{TurnMissed, LoadNudge}) || anna.Quiet != quiet || !anna.TellForHome {
		t.Errorf("anna's choices are %+v", anna)
	}
	if anna.Wants(LoadNudge) || !anna.Wants(TurnCalled) {
		t.Error("anna hears of what she does not want, or not of what she does")
	}
	w.reload()
	w.do(SetChoices{Person: "anna", Quiet: Quiet{From: 60, To: 60}})
	if anna := w.people.Persons["anna"]; anna.Quiet != (Quiet{}) || len(anna.Off) > 0 || anna.TellForHome {
		t.Errorf("nothing chosen is stored as %+v", anna)
	}
}

// TestMute: two weeks at most; an instant that is over ends it.
func TestMute(t *testing.T) {
	w := newTown(t)
	w.joinAs("anna", "12")
	for _, c := range []struct {
		until, want time.Time
		key         string
	}{
		{w.now.Add(time.Hour), w.now.Add(time.Hour), ""},
		{w.now.Add(14*24*time.Hour + 1), w.now.Add(time.Hour), "mute.long"},
		{w.now.Add(14 * 24 * time.Hour), w.now.Add(14 * 24 * time.Hour), ""},
		{w.now, time.Time{}, ""},
		{time.Time{}, time.Time{}, ""},
	} {
		if ev := (Mute{Person: "anna", Until: c.until}); c.key != "" {
			w.refused(ev, c.key)
		} else {
			w.do(ev)
		}
		if got := w.people.Persons["anna"].MutedUntil; !got.Equal(c.want) {
			t.Errorf("muted until %s: stored %s, want %s", c.until, got, c.want)
		}
		w.reload()
	}
	if w.try(Mute{Person: "nobody"}) == nil {
		t.Error("nobody is muted")
	}
}

// TestSubscriptionHosts names the service behind a device.
func TestSubscriptionHosts(t *testing.T) {
	for endpoint, want := range map[string]string{
		"https://push.example.net/send/1":      "push.example.net",
		"https://push.example.net:8443/send/1": "push.example.net:8443",
		"mailto:anna@example.net":              MailHost,
		"https://[::1":                         "",
	} {
		if got := (Subscription{Endpoint: endpoint}).Host(); got != want {
			t.Errorf("%q is served by %q, want %q", endpoint, got, want)
		}
	}
}

// TestStrangersAreNotTold: a device of nobody's is refused.
func TestStrangersAreNotTold(t *testing.T) {
	w := newTown(t)
	w.refused(Subscribe{Subscription: Subscription{ID: "s", Person: "eve"}}, "subscribe.stranger")
}

// TestSnapshotFinds: by id what is there, and nothing for what is not.
func TestSnapshotFinds(t *testing.T) {
	s := newScene(t, nil)
	s.watts("w1", 300)
	s.watts("w2", 300)
	id := s.join("anna", queue.Wash)
	snap := s.foreseen()
	if m := snap.Machine("w2"); m == nil || m.Number != 2 {
		t.Errorf("w2 is %+v", m)
	}
	if snap.Machine("w9") != nil || snap.Turn(id+1) != nil || snap.Forecast(id+1) != nil {
		t.Error("what is not there is found")
	}
	if turn, f := snap.Turn(id), snap.Forecast(id); turn == nil || turn.Person != "anna" || f == nil || !f.Known {
		t.Errorf("anna's turn is %+v, its forecast %+v", turn, f)
	}
	bare := snap.With(nil)
	if len(bare.Forecasts) > 0 || bare.IfYouJoin != nil || !bare.ForecastAt.IsZero() || len(snap.Forecasts) == 0 {
		t.Error("without prospects there are forecasts, or the snapshot itself was changed")
	}
}

// TestEventIDs: pages that follow a room see a commit, time, and a new forecast.
func TestEventIDs(t *testing.T) {
	s := Snapshot{Seq: 3, At: noon}
	seen := map[string]bool{s.EventID(): true}
	for _, other := range []Snapshot{{Seq: 4, At: noon}, {Seq: 3, At: noon.Add(time.Second)}, {Seq: 3, At: noon, ForecastAt: noon}} {
		if id := other.EventID(); seen[id] {
			t.Errorf("%s twice", id)
		} else {
			seen[id] = true
		}
	}
	if again := (Snapshot{Seq: 3, At: noon, Name: "Cellar"}); !seen[again.EventID()] {
		t.Errorf("the same moment is %s", again.EventID())
	}
}

// TestCallWithLoadAfter: the house's own time, else ten minutes, whatever its
// ladder, never within the grace.
func TestCallWithLoadAfter(t *testing.T) {
	const m = time.Minute
	ladder := []LadderStep{{10 * m, TellOwner}, {25 * m, TellManager}}
	for _, c := range []struct {
		rules Rules
		want  time.Duration
	}{
		{Rules{CallUncollectedAfter: 12 * m, Ladder: ladder, Grace: 10 * m}, 12 * m},
		{Rules{Ladder: ladder, Grace: 5 * m}, 10 * m},
		{Rules{Ladder: ladder, Grace: 40 * m}, 40 * m},
		{Rules{Grace: 10 * m}, 10 * m},
		{Rules{Grace: 40 * m}, 40 * m},
	} {
		if got := c.rules.CallWithLoadAfter(); got != c.want {
			t.Errorf("grace %s, ladder %v: called after %s, want %s", c.rules.Grace, c.rules.Ladder, got, c.want)
		}
	}
}
