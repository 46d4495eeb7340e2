package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// zoneOf loads a time zone; a system without their data skips the test.
func zoneOf(t *testing.T, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	if err != nil {
		t.Skip("no time zone data: ", err)
	}
	return zone
}

// nightRoom is a room whose load 1 of anna was told at an instant. Ben waits.
func nightRoom(zone *time.Location, from, to queue.Clock, told time.Time) *Room {
	r := NewRoom(testPlan(), newPlain)
	r.plan.Zone = zone
	r.state.Rules.NightFrom, r.state.Rules.NightTo = from, to
	r.state.Rules.Ladder = DefaultRules().Ladder
	r.state.Loads = []Load{{ID: 1, Machine: "w1", Owner: "anna", Home: "home-anna", ReadyAt: told, ToldAt: told, Round: 1}}
	return r
}

// TestNightMovesSteps: the steps of the default ladder (owner after 10 minutes,
// next after 15, manager after 30) around a night, by the clock on the wall. The
// night's beginning belongs to it, its end does not.
func TestNightMovesSteps(t *testing.T) {
	const ten, seven = queue.Clock(22 * 60), queue.Clock(7 * 60)
	const one, five = queue.Clock(60), queue.Clock(5 * 60)
	for _, c := range []struct {
		name, zone, told     string
		from, to             queue.Clock
		owner, next, manager string
	}{
		{"well before", "UTC", "2026-06-10 20:00", ten, seven, "10 20:10", "10 20:15", "10 20:30"},
		{"the last minute before", "UTC", "2026-06-10 21:44", ten, seven, "10 21:54", "10 21:59", "10 22:14"},
		{"across its beginning", "UTC", "2026-06-10 21:45", ten, seven, "10 21:55", "11 07:00", "10 22:15"},
		{"at its beginning", "UTC", "2026-06-10 21:50", ten, seven, "11 07:00", "11 07:00", "10 22:20"},
		{"before midnight", "UTC", "2026-06-10 23:30", ten, seven, "11 07:00", "11 07:00", "11 00:00"},
		{"after midnight", "UTC", "2026-06-11 03:00", ten, seven, "11 07:00", "11 07:00", "11 03:30"},
		{"across its end", "UTC", "2026-06-11 06:46", ten, seven, "11 07:00", "11 07:01", "11 07:16"},
		{"at its end", "UTC", "2026-06-11 06:50", ten, seven, "11 07:00", "11 07:05", "11 07:20"},
		{"well after", "UTC", "2026-06-11 12:00", ten, seven, "11 12:10", "11 12:15", "11 12:30"},
		{"over the end of a month", "UTC", "2026-02-28 23:50", ten, seven, "01 07:00", "01 07:00", "01 00:20"},
		{"over the end of the year", "UTC", "2026-12-31 22:10", ten, seven, "01 07:00", "01 07:00", "31 22:40"},

		{"not over midnight, before", "UTC", "2026-06-10 23:50", one, five, "11 00:00", "11 00:05", "11 00:20"},
		{"not over midnight, in it", "UTC", "2026-06-11 01:00", one, five, "11 05:00", "11 05:00", "11 01:30"},
		{"not over midnight, after", "UTC", "2026-06-11 04:55", one, five, "11 05:05", "11 05:10", "11 05:25"},
		{"from midnight", "UTC", "2026-06-10 23:55", 0, five, "11 05:00", "11 05:00", "11 00:25"},
		{"to midnight", "UTC", "2026-06-10 23:40", ten, 0, "11 00:00", "11 00:00", "11 00:10"},
		{"none", "UTC", "2026-06-11 03:00", queue.NoClock, queue.NoClock, "11 03:10", "11 03:15", "11 03:30"},

		// Directive 2000/84/EC: summer time begins on the last Sunday of March and ends
		// on that of October, at 01:00 UTC (from memory): 29 March and 25 October in 2026.
		{"short night", "Europe/Berlin", "2026-03-28 23:00", ten, seven, "29 07:00", "29 07:00", "28 23:30"},
		{"short night, across the gap", "Europe/Berlin", "2026-03-29 01:50", ten, seven, "29 07:00", "29 07:00", "29 03:20"},
		{"ends in the gap", "Europe/Berlin", "2026-03-29 01:00", one, 2*60 + 30, "29 03:00", "29 03:00", "29 01:30"},
		{"begins in the gap", "Europe/Berlin", "2026-03-29 01:55", 2*60 + 30, five, "29 05:00", "29 05:00", "29 03:25"},
		{"long night", "Europe/Berlin", "2026-10-24 22:00", ten, seven, "25 07:00", "25 07:00", "24 22:30"},
		{"long night, its end", "Europe/Berlin", "2026-10-25 06:48", ten, seven, "25 07:00", "25 07:03", "25 07:18"},
		{"the evening of that day", "Europe/Berlin", "2026-10-25 21:40", ten, seven, "25 21:50", "25 21:55", "25 22:10"},
		{"the evening of the short day", "Europe/Berlin", "2026-03-29 21:52", ten, seven, "30 07:00", "30 07:00", "29 22:22"},

		// The clocks of Beirut go from 00:00 to 01:00: 29 March 2026 has no midnight
		// (time zone database, rules "Lebanon"; from memory).
		{"no midnight", "Asia/Beirut", "2026-03-28 23:40", ten, seven, "29 07:00", "29 07:00", "29 01:10"},
		{"no midnight, ends at it", "Asia/Beirut", "2026-03-28 23:30", ten, 0, "29 01:00", "29 01:00", "29 01:00"},
		{"no midnight, begins at it", "Asia/Beirut", "2026-03-28 23:48", 0, five, "28 23:58", "29 05:00", "29 01:18"},
	} {
		t.Run(c.name, func(t *testing.T) {
			zone := zoneOf(t, c.zone)
			told, err := time.ParseInLocation("2006-01-02 15:04", c.told, zone)
			if err != nil {
				t.Fatal(err)
			}
			r := nightRoom(zone, c.from, c.to, told)
			for step, want := range []string{c.owner, c.next, c.manager} {
				if got := r.stepAt(&r.state.Loads[0], step).In(zone).Format("02 15:04"); got != want {
					t.Errorf("step %d is due at %s, want %s", step+1, got, want)
				}
			}
		})
	}
}

// TestNightLengths: the night of 22 to 7 is eight hours when summer time begins
// and ten when it ends; every instant in it leads to the same end.
func TestNightLengths(t *testing.T) {
	zone := zoneOf(t, "Europe/Berlin")
	r := nightRoom(zone, 22*60, 7*60, noon)
	for day, hours := range map[time.Time]int{
		time.Date(2026, 3, 28, 22, 0, 0, 0, zone):  8,
		time.Date(2026, 6, 10, 22, 0, 0, 0, zone):  9,
		time.Date(2026, 10, 24, 22, 0, 0, 0, zone): 10,
	} {
		end := day.Add(time.Duration(hours) * time.Hour)
		if before := day.Add(-1); !r.afterNight(before).Equal(before) {
			t.Errorf("%s is in the night", before)
		}
		for at := day; at.Before(end); at = at.Add(7 * time.Minute) {
			if got := r.afterNight(at); !got.Equal(end) {
				t.Fatalf("the night of %s ends at %s as seen at %s, want %s", day, got, at, end)
			}
		}
		if !r.afterNight(end).Equal(end) {
			t.Errorf("%s is still in the night", end)
		}
	}
}

// TestNightThroughTheRoom: a real night in Berlin when summer time ends: the
// manager is told at once, the owner at seven, and each once.
func TestNightThroughTheRoom(t *testing.T) {
	zone := zoneOf(t, "Europe/Berlin")
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		p.Zone, p.Seed.NightFrom, p.Seed.NightTo = zone, 22*60, 7*60
		p.Seed.CallUncollectedAfter = 24 * time.Hour
	})
	s.now = time.Date(2026, 10, 24, 20, 55, 0, 0, zone)
	s.idle()
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.do(Join{Person: "ben", Home: "home-ben", Need: queue.Wash})
	s.wait(11 * time.Hour)
	at := map[NoticeKind]string{LoadNudge: "25 07:00 CET", LoadWaiting: "25 07:00 CET", LoadLeft: "24 22:25 CEST"}
	for _, n := range s.notices {
		if want := at[n.Kind]; want != "" {
			if got := n.Made.In(zone).Format("02 15:04 MST"); got != want {
				t.Errorf("%s was told at %s, want %s", n.Kind, got, want)
			}
			delete(at, n.Kind)
		}
	}
	if len(at) > 0 {
		t.Errorf("not told: %v", at)
	}
	s.wantTold(LoadNudge, "anna")
	s.wantTold(LoadWaiting, "ben")
	s.wantTold(LoadLeft, "managers")
}

// TestNightCollected: a load that is collected in the night nudges nobody in the morning.
func TestNightCollected(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		p.Seed.NightFrom, p.Seed.NightTo = 22*60, 7*60
	})
	s.now = time.Date(2026, 6, 10, 21, 0, 0, 0, time.UTC)
	s.idle()
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.wait(3 * time.Hour)
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wait(9 * time.Hour)
	s.wantTold(LoadNudge)
}

// TestRulesChangeInTheNight: a night that is taken out of the rules lets what
// waited for its end go at once.
func TestRulesChangeInTheNight(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		p.Seed.NightFrom, p.Seed.NightTo = 22*60, 7*60
	})
	s.now = time.Date(2026, 6, 10, 21, 0, 0, 0, time.UTC)
	s.idle()
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.wait(time.Hour)
	s.wantTold(LoadNudge)
	rules := s.room.state.Rules
	rules.NightFrom, rules.NightTo = queue.NoClock, queue.NoClock
	s.do(SetRules{Rules: rules})
	s.wantTold(LoadNudge, "anna")
}

// TestRulesChangedInTheNight: a step that is overdue under new rules waits for
// the end of the night like any other; the manager's does not.
func TestRulesChangedInTheNight(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Seed.NightFrom, p.Seed.NightTo = 22*60, 7*60 })
	s.now = noon.Add(9 * time.Hour)
	s.idle()
	s.cycle("w1", 30*time.Minute)
	s.do(Claim{Machine: "w1", Person: "anna", Home: "home-anna"})
	rules := s.room.state.Rules
	rules.Ladder = []LadderStep{{time.Hour, TellOwner}}
	s.do(SetRules{Rules: rules})
	s.wait(50 * time.Minute) // 22:20
	s.wantTold(LoadNudge)
	rules.Ladder = []LadderStep{{10 * time.Minute, TellOwner}, {15 * time.Minute, TellManager}}
	s.do(SetRules{Rules: rules})
	s.wantTold(LoadNudge)
	s.wantTold(LoadLeft, "managers")
	s.wait(8 * time.Hour)
	s.wantTold(LoadNudge)
	s.wait(time.Hour)
	s.wantTold(LoadNudge, "anna")
}
