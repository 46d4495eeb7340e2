package ui

import (
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// TestEveryStatusSaysSinceAndUntil: a status is always a word, with since and,
// where known, until.
func TestEveryStatusSaysSinceAndUntil(t *testing.T) {
	with := func(m coordinator.MachineView, f func(*coordinator.MachineView)) coordinator.MachineView {
		f(&m)
		return m
	}
	w := func(status coordinator.Status, since int) coordinator.MachineView {
		return machine("w1", 1, queue.Washer, status, since)
	}
	load := func(l coordinator.Load) *coordinator.Load { return &l }
	type M = *coordinator.MachineView
	cases := []struct {
		name string
		m    coordinator.MachineView
		own  bool
		want string
	}{
		{"free", w(coordinator.Free, -25), false, "free since 13:22"},
		{"free, perhaps full", with(w(coordinator.Free, -25), func(m M) { m.MayHoldLoad = true }), false,
			"free since 13:22; may hold a load, look inside"},
		{"free after a missed call", with(w(coordinator.Free, -1), func(m M) { m.OpenToWalkUps = true }), false,
			"free since 13:46; open to anybody meanwhile"},
		{"held", with(w(coordinator.Held, -2), func(m M) { m.Until = in(8) }), false, "held since 13:45, until 13:55"},
		{"held for me", with(w(coordinator.Held, -2), func(m M) { m.Until = in(8) }), true, "held for you since 13:45, until 13:55"},
		{"held with a load", with(w(coordinator.Held, -2), func(m M) {
			m.Until, m.Hold = in(8), &coordinator.Hold{LoadInside: true, Until: in(8)}
		}), false, "held since 13:45, until 13:55; a load is still inside"},
		{"running", with(w(coordinator.Running, -37), func(m M) { m.Until, m.Low, m.High = in(34), in(28), in(46) }), false,
			"running since 13:10; done 14:21, between 14:15 and 14:33"},
		{"running, sure", with(w(coordinator.Running, -37), func(m M) { m.Until, m.Low, m.High = in(34), in(34), in(34) }), false,
			"running since 13:10; done at 14:21"},
		{"running, first guess", with(w(coordinator.Running, -37), func(m M) { m.Until, m.About = in(34), true }), false,
			"running since 13:10; done about 14:21"},
		{"running, unknown end", w(coordinator.Running, -37), false, "running since 13:10; end not known yet"},
		{"any minute", with(w(coordinator.Running, -37), func(m M) { m.Until, m.AnyMinute = in(0), true }), false,
			"running since 13:10; done any minute now"},
		{"late", with(w(coordinator.Running, -37), func(m M) { m.Until, m.Low, m.High = in(-1), in(-5), in(4) }), false,
			"running since 13:10; done any minute now"},
		{"nearly", with(w(coordinator.Running, -37), func(m M) { m.Until, m.Low, m.High = in(3), in(-2), in(9) }), false,
			"running since 13:10; done 13:50, by 13:56"},
		{"stalled", with(w(coordinator.Running, -200), func(m M) { m.Stalled = true }), false,
			"running long since 10:27; far longer than usual, please have a look"},
		{"by hand", with(w(coordinator.Running, -37), func(m M) { m.Until, m.ByHand, m.About = in(34), true, true }), false,
			"running since 13:10; done about 14:21; as reported, not measured"},
		{"finished", with(w(coordinator.Finished, -6), func(m M) {
			m.Load = load(coordinator.Load{Owner: "a", ReadyAt: in(-8), Reason: coordinator.EndDone})
		}), false, "finished ready since 13:39"},
		{"stopped early", with(w(coordinator.Finished, -6), func(m M) {
			m.Load = load(coordinator.Load{Owner: "a", ReadyAt: in(-8), Reason: coordinator.EndStopped})
		}), false, "stopped early at 13:39, its programme was cut short"},
		{"presumed", with(w(coordinator.Finished, -6), func(m M) {
			m.Load = load(coordinator.Load{Owner: "a", ReadyAt: in(-8), Reason: coordinator.EndPresumed})
		}), false, "presumably finished at 13:39, while the meter was silent"},
		{"overdue, mine", with(w(coordinator.Overdue, -30), func(m M) {
			m.Load = load(coordinator.Load{Owner: "a", ReadyAt: in(-42)})
		}), true, "overdue ready since 13:05, not collected; your load"},
		{"overdue, called", with(w(coordinator.Overdue, -30), func(m M) {
			m.Load, m.Hold = load(coordinator.Load{Owner: "a", ReadyAt: in(-42)}), &coordinator.Hold{Until: in(5)}
		}), false, "overdue ready since 13:05, not collected; the next in the queue is called to it until 13:52"},
		{"unknown", w(coordinator.Unknown, -15), false, "unknown meter silent since 13:32"},
		{"never heard", with(w(coordinator.Unknown, 0), func(m M) { m.Since = time.Time{} }), false, "unknown its meter has not been heard yet"},
		{"out", with(w(coordinator.Out, -26*60), func(m M) { m.OutText = "worn belt" }), false, "out of service since Mon 11:47; worn belt"},
		{"fault", with(w(coordinator.Free, -5), func(m M) { m.Faults = make([]coordinator.Fault, 2) }), false,
			"free since 13:42; 2 faults were reported"},
	}
	for _, c := range cases {
		tell := teller{now: noon, zone: zone, lang: words.English(), own: c.own}
		if got := tell.word(&c.m) + " " + tell.detail(&c.m); got != c.want {
			t.Errorf("%s:\n got %q\nwant %q", c.name, got, c.want)
		}
	}
}

func TestClock(t *testing.T) {
	cases := []struct {
		at   time.Time
		want string
	}{
		{noon, "13:47"}, {in(-26 * 60), "Mon 11:47"}, {in(24 * 60), "Wed 13:47"}, {in(-30 * 24 * 60), "15 Feb 13:47"},
		{time.Time{}, ""}, {time.Date(2026, 3, 17, 23, 30, 0, 0, time.UTC), "Wed 00:30"},
	}
	for _, c := range cases {
		if got := (teller{now: noon, zone: zone, lang: words.English()}).at(c.at); got != c.want {
			t.Errorf("clock(%v) = %q, want %q", c.at, got, c.want)
		}
	}
}

func TestSpan(t *testing.T) {
	for d, want := range map[time.Duration]string{
		20 * time.Second: "under a minute", 42 * time.Minute: "42 min", 2 * time.Hour: "2 h",
		95 * time.Minute: "1 h 35 min", 30 * time.Hour: "1 day", 80 * time.Hour: "3 days",
	} {
		if got := words.English().Span(d); got != want {
			t.Errorf("span(%v) = %q, want %q", d, got, want)
		}
	}
}

func TestForecastWords(t *testing.T) {
	tell := teller{now: noon, zone: zone, lang: words.English()}
	cases := []struct {
		f    coordinator.Forecast
		want string
	}{
		{coordinator.Forecast{}, "cannot be said now"},
		{coordinator.Forecast{Known: true, Low: noon, Median: noon, High: noon}, "at once"},
		{coordinator.Forecast{Known: true, Low: noon, Median: noon, High: in(20)}, "any minute, by 14:07"},
		{coordinator.Forecast{Known: true, Low: in(10), Median: in(10), High: in(10)}, "about 13:57"},
		{coordinator.Forecast{Known: true, Low: in(10), Median: in(20), High: in(45)}, "about 14:07, between 13:57 and 14:32"},
		{coordinator.Forecast{Known: true, Low: noon, Median: in(20), High: in(45)}, "about 14:07, by 14:32"},
		{coordinator.Forecast{Known: true, Low: noon, Median: in(20), High: in(20)}, "about 14:07 at the latest"},
	}
	for _, c := range cases {
		if got := tell.forecast(&c.f); got != c.want {
			t.Errorf("%+v: %q, want %q", c.f, got, c.want)
		}
	}
}

// TestCallWords: words tell neighbouring turns apart, and none is long or odd
// to call out.
func TestCallWords(t *testing.T) {
	seen := map[string]bool{}
	for _, w := range callWords {
		if seen[w] || len(w) > 8 || w != strings.ToLower(w) {
			t.Errorf("%q is taken twice, too long, or not plain", w)
		}
		seen[w] = true
	}
	for id := coordinator.TurnID(1000); id < 1000+coordinator.TurnID(len(callWords))-1; id++ {
		if callWord(id) == callWord(id+1) {
			t.Errorf("turns %d and %d share %q", id, id+1, callWord(id))
		}
	}
}

func TestOrdinal(t *testing.T) {
	for n, want := range map[int]string{1: "1st", 2: "2nd", 3: "3rd", 4: "4th", 11: "11th", 12: "12th", 13: "13th", 21: "21st", 112: "112th"} {
		if got := words.English().Nth("turn.place", n); got != want+" in the queue" {
			t.Errorf("%d: %q", n, got)
		}
	}
}

func TestHoursToday(t *testing.T) {
	hours := queue.AlwaysOpen()
	if got := englishAt(noon).hoursToday(hours); got != "" {
		t.Errorf("always open says %q", got)
	}
	hours[time.Tuesday] = queue.Day{Opens: 7 * 60, LastStart: 20*60 + 30, EndedBy: 22 * 60}
	if got := englishAt(noon).hoursToday(hours); got != "Open from 07:00, last start 20:30, ended by 22:00." {
		t.Errorf("%q", got)
	}
	hours[time.Tuesday].Closed = true
	if got := englishAt(noon).hoursToday(hours); got != "Closed today." {
		t.Errorf("%q", got)
	}
}
