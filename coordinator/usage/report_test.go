package usage

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// twoRooms is a house of two rooms with a keeper's view of them.
func twoRooms() (*House, []Room) {
	h := &House{Name: "Some house", Zone: berlin, Rooms: []HouseRoom{
		{ID: "attic", Name: "Attic", Machines: []HouseMachine{{ID: "w1", Name: "Washer 1"}}},
		{ID: "cellar", Name: "Cellar", Machines: []HouseMachine{{ID: "w1", Name: "Washer 1"}, {ID: "d1", Name: "Dryer 1"}}},
	}}
	var rooms []Room
	for _, r := range h.Rooms {
		room := Room{ID: r.ID, Hours: queue.AlwaysOpen()}
		for _, m := range r.Machines {
			room.Machines = append(room.Machines, m.ID)
		}
		rooms = append(rooms, room)
	}
	return h, rooms
}

// history fills a store with a cycle a day in each machine, of i+1 quarters of an
// hour in the i-th, and sums each day up.
func history(t *testing.T, s *fakeStore, rooms []Room, from, to string) {
	t.Helper()
	for i := range rooms {
		for d := date(from); !date(to).Before(d); d = d.Add(1) {
			for k, m := range rooms[i].Machines {
				start := d.Begin(berlin).Add(10 * time.Hour)
				end := start.Add(time.Duration(k+1) * 15 * time.Minute)
				s.add(rooms[i].ID, coordinator.Fact{At: end, Kind: coordinator.FactCycle, Machine: m, Cycle: uint64(d.Day + 100*int(d.Month)), Start: start, End: end, EnergyWh: 500})
				s.add(rooms[i].ID, coordinator.Fact{At: end, Kind: coordinator.FactCollected, Machine: m, Wait: time.Second})
			}
		}
		for d := date(from); !date(to).Before(d); d = d.Add(1) {
			must(t, rollUp(ctx, s, &rooms[i], d, berlin, coordinator.JobMark{Job: "rollup", Date: d.String(), At: d.Add(1).End(berlin)}))
		}
	}
}

func report(t *testing.T, s Rollups, h *House, scope Scope, from, to string, by Period) *Report {
	t.Helper()
	r, err := MakeReport(ctx, s, h, Query{Scope: scope, From: date(from), To: date(to), By: by})
	must(t, err)
	return r
}

// TestReport: whichever way a time is divided, the parts are the whole.
func TestReport(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	history(t, s, rooms, "2026-09-20", "2026-11-10")
	for _, by := range []Period{ByDay, ByWeek, ByMonth, ByAll} {
		r := report(t, s, h, Scope{}, "2026-09-28", "2026-11-03", by)
		const days = 3 + 31 + 3
		if r.Whole.Days != days || r.Whole.Cycles != 3*days || r.Whole.Running != days*time.Hour || r.Whole.CycleWh != 1500*days {
			t.Errorf("by %s: %+v", by, r.Whole.Figures)
		}
		if want := 3 * (days*24 + 1) * time.Hour; r.Whole.Open != want || r.Whole.RunningOpen != r.Whole.Running { // one day has 25 hours
			t.Errorf("by %s: open %v, want %v", by, r.Whole.Open, want)
		}
		for name, rows := range map[string][]Row{"periods": r.Periods, "rooms": r.Rooms, "machines": r.Machines} {
			var sum Figures
			for i := range rows {
				sum.beside(&rows[i].Figures)
			}
			if sum.Days = r.Whole.Days; !reflect.DeepEqual(sum, r.Whole.Figures) {
				t.Errorf("by %s: the %s add up to\n     %+v\nwant %+v", by, name, sum, r.Whole.Figures)
			}
		}
		if got := r.Week[time.Monday][10]; got.Starts != 3*6 || got.Observed != 6*time.Hour || got.Running != 6*time.Hour {
			t.Errorf("by %s: Mondays at 10: %+v", by, got)
		}
	}
}

// TestPeriods: weeks begin on Monday; the first and the last period are cut.
func TestPeriods(t *testing.T) {
	for by, want := range map[Period]string{
		ByDay:   "2026-10-30..2026-10-30 2026-10-31..2026-10-31 2026-11-01..2026-11-01 2026-11-02..2026-11-02",
		ByWeek:  "2026-10-30..2026-11-01 2026-11-02..2026-11-02",
		ByMonth: "2026-10-30..2026-10-31 2026-11-01..2026-11-02",
		ByAll:   "2026-10-30..2026-11-02",
	} {
		q := Query{From: date("2026-10-30"), To: date("2026-11-02"), By: by}
		got := ""
		for i, p := range q.periods() {
			if i > 0 {
				got += " "
			}
			got += fmt.Sprint(p.from, "..", p.to)
		}
		if got != want {
			t.Errorf("by %s: %s, want %s", by, got, want)
		}
	}
}

// TestReportScopes: a room has its machines, a machine only itself; a machine
// that is no longer there is listed, and a period without sums has zeros.
func TestReportScopes(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	rooms[1].Machines = append(rooms[1].Machines, "old/1")
	history(t, s, rooms, "2026-11-01", "2026-11-02")
	room := report(t, s, h, Scope{Room: "cellar"}, "2026-10-30", "2026-11-30", ByMonth)
	if len(room.Rooms) != 0 || len(room.Machines) != 3 || room.Machines[2].Machine != "old/1" || room.Machines[2].Cycles != 2 || room.Whole.Cycles != 6 {
		t.Errorf("the room: %+v", room)
	}
	if p := room.Periods; len(p) != 2 || p[0].Days != 0 || p[0].Cycles != 0 || p[1].Cycles != 6 {
		t.Errorf("periods %+v", p)
	}
	machine := report(t, s, h, Scope{Room: "cellar", Machine: "d1"}, "2026-11-01", "2026-11-30", ByDay)
	if len(machine.Machines) != 0 || machine.Whole.Cycles != 2 || machine.Whole.Running != time.Hour || machine.Periods[1].Running != 30*time.Minute {
		t.Errorf("the machine: %+v", machine)
	}
}

func TestBadQueries(t *testing.T) {
	h, _ := twoRooms()
	good := Query{From: date("2026-11-01"), To: date("2026-11-30"), By: ByDay}
	for part, change := range map[string]func(*Query){
		"from":  func(q *Query) { q.From = Date{} },
		"to":    func(q *Query) { q.To = date("2026-10-31") },
		"by":    func(q *Query) { q.By = "hour" },
		"scope": func(q *Query) { q.Scope.Room = "garage" },
	} {
		q := good
		change(&q)
		_, err := MakeReport(ctx, newFake(), h, q)
		var bad *QueryError
		if !errors.As(err, &bad) || bad.Part != part || bad.Error() == "" {
			t.Errorf("%s: %v", part, err)
		}
	}
	for _, q := range []Query{
		{From: date("1990-01-01"), To: date("2026-11-30"), By: ByAll},
		{From: date("2026-11-01"), To: date("2026-11-30"), By: ByAll, Scope: Scope{Machine: "w1"}},
	} {
		if _, err := MakeReport(ctx, newFake(), h, q); err == nil {
			t.Errorf("%+v was taken", q)
		}
	}
}

// reader counts the sums that a report is given.
type reader struct {
	s    *fakeStore
	read int
}

func (r *reader) Rollups(ctx context.Context, from, to string, fn func(string, []byte) bool) error {
	return r.s.Rollups(ctx, from, to, func(key string, value []byte) bool { r.read++; return fn(key, value) })
}

// TestReportReadsItsRangeOnly: no sum is read that the report does not need, but
// one of each machine to know that there is such a machine.
func TestReportReadsItsRangeOnly(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	history(t, s, rooms, "2026-08-01", "2026-11-10")
	for _, c := range []struct {
		from, to string
		by       Period
		most     int
	}{
		// Two rooms by day; three machines by month and its cut ends; seeks: a room's
		// own sum and each of its machines.
		{"2026-10-01", "2026-10-31", ByDay, 2*31 + 3*1 + 5},
		{"2026-08-31", "2026-11-01", ByMonth, 2*(1+2+1) + 3*(1+2+1) + 5},
		{"2026-09-01", "2026-10-31", ByAll, 2*2 + 3*2 + 5},
	} {
		counted := &reader{s: s}
		report(t, counted, h, Scope{}, c.from, c.to, c.by)
		if counted.read > c.most {
			t.Errorf("%s to %s by %s read %d sums, at most %d are needed", c.from, c.to, c.by, counted.read, c.most)
		}
	}
}
