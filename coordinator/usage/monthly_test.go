package usage

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/store"
)

// postman notes what is sent, and may be struck down.
type postman struct {
	sent  []string
	fails error // instead of sending
	none  bool  // there is no way to send
}

func (p *postman) send(_ context.Context, m Month, r *Report) (bool, error) {
	if p.fails != nil || p.none {
		return false, p.fails
	}
	p.sent = append(p.sent, fmt.Sprintf("%s: %d cycles", m, r.Whole.Cycles))
	return true, nil
}

// reporter is a keeper of the two rooms that makes monthly reports.
func reporter(t *testing.T, s Store, rooms []Room, h *House, p *postman) *Keeper {
	t.Helper()
	k, err := NewKeeper(s, func() []Room { return rooms }, Options{Zone: berlin, Log: silent(), Monthly: MonthlyOptions{House: func() *House { return h }, Send: p.send}})
	must(t, err)
	return k
}

func reported(t *testing.T, r Rollups) (out []string) {
	t.Helper()
	all, err := MonthsReported(ctx, r)
	must(t, err)
	for _, m := range all {
		out = append(out, m.Month.String())
	}
	return out
}

// marked marks the nights up to a date as worked off.
func marked(s *fakeStore, rooms []Room, to string) {
	for _, r := range rooms {
		for d := date("2026-09-01"); !date(to).Before(d); d = d.Add(1) {
			s.marks["rollup/"+string(r.ID)+" "+d.String()] = []time.Time{d.End(berlin)}
		}
	}
}

// TestMonthlyReports: the report of a month is there from 05:30 on the first, once;
// months that were missed are made up for, and only the newest is sent.
func TestMonthlyReports(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	h.Rooms[0].PerHome = true
	history(t, s, rooms, "2026-09-10", "2026-11-30")
	marked(s, rooms, "2026-11-30")
	p := &postman{}
	k := reporter(t, s, rooms, h, p)
	must(t, k.CatchUp(ctx, local("2026-12-01 05:29")))
	if got := reported(t, s); !slices.Equal(got, []string{"2026-10", "2026-09"}) || len(p.sent) != 1 || p.sent[0] != "2026-10: 93 cycles" {
		t.Errorf("before it was due: reports of %v, sent %v", got, p.sent)
	}
	for range 2 {
		must(t, k.CatchUp(ctx, local("2026-12-01 05:30")))
	}
	if got := reported(t, s); !slices.Equal(got, []string{"2026-11", "2026-10", "2026-09"}) || len(p.sent) != 2 || p.sent[1] != "2026-11: 90 cycles" {
		t.Errorf("reports of %v, sent %v", got, p.sent)
	}
	building, err := StoredReport(ctx, s, Month{2026, 9}, "")
	must(t, err)
	if building.Whole.Cycles != 3*21 || len(building.Periods) != 30 || len(building.Rooms) != 2 || building.Week[time.Monday][10].Starts != 3*3 {
		t.Errorf("the building's report: %+v", building.Whole)
	}
	if len(building.Homes) != 0 || slices.Contains(building.Notes, NoteHomes) {
		t.Errorf("the report has homes in it: %+v", building.Homes)
	}
	room, err := StoredReport(ctx, s, Month{2026, 9}, "cellar")
	must(t, err)
	if room.Whole.Cycles != 2*21 || room.Query.Scope.Room != "cellar" {
		t.Errorf("the room's report: %+v", room.Whole)
	}
	if _, err := StoredReport(ctx, s, Month{2026, 8}, ""); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a month without sums: %v", err)
	}
	room.Rename([]HouseRoom{{ID: "cellar", Machines: []HouseMachine{{ID: "w1", Name: "Waschmaschine 1"}}}})
	if room.Machines[0].Name != "Waschmaschine 1" || room.Machines[1].Name != "Dryer 1" {
		t.Errorf("renamed %+v", room.Machines)
	}
}

// TestMonthWaitsForItsNights: no report is made of a month whose last day is not
// summed up.
func TestMonthWaitsForItsNights(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	history(t, s, rooms, "2026-11-01", "2026-11-30")
	marked(s, rooms[:1], "2026-11-30")
	marked(s, rooms[1:], "2026-11-29")
	p := &postman{}
	k := reporter(t, s, rooms, h, p)
	must(t, k.months(ctx, local("2026-12-01 06:00")))
	if got := reported(t, s); len(got) != 0 || len(p.sent) != 0 {
		t.Errorf("reports of %v, sent %v", got, p.sent)
	}
}

// forgetful is a store that is killed before it remembers that a report was sent.
type forgetful struct {
	*store.File
	forget bool
}

func (f *forgetful) MarkJob(ctx context.Context, job, date string, at time.Time) error {
	if f.forget && job == "report-sent" {
		return errors.New("killed")
	}
	return f.File.MarkJob(ctx, job, date, at)
}

// TestSentOnceOverKills: killed between making and sending, the report is sent
// when the program runs again; killed between sending and remembering, it is sent
// again (with the same name, so that it is one letter to its readers); after that
// never. The report itself is made once.
func TestSentOnceOverKills(t *testing.T) {
	path := filepath.Join(t.TempDir(), "building.db")
	h, rooms := twoRooms()
	fake := newFake()
	history(t, fake, rooms, "2026-11-01", "2026-11-30")
	p := &postman{}
	now := local("2026-12-01 05:30")
	run := func(forget bool) (problem error) {
		f, err := store.Open(path, store.Options{NoSync: true})
		must(t, err)
		defer func() { must(t, f.Close()) }()
		for key, value := range fake.sums {
			must(t, f.PutRollups(ctx, coordinator.JobMark{}, coordinator.Rollup{Key: key, Value: value}))
			delete(fake.sums, key)
		}
		for _, r := range rooms {
			must(t, f.MarkJob(ctx, "rollup/"+string(r.ID), "2026-11-30", now))
		}
		now = now.Add(time.Hour)
		problem = reporter(t, &forgetful{f, forget}, rooms, h, p).months(ctx, now)
		made, err := MonthsReported(ctx, f)
		must(t, err)
		if len(made) != 1 || !made[0].Made.Equal(local("2026-12-01 06:30")) {
			t.Errorf("made %+v", made)
		}
		return problem
	}
	p.fails = errors.New("struck down")
	if err := run(false); !errors.Is(err, p.fails) || len(p.sent) != 0 {
		t.Errorf("killed before sending: %v, sent %v", err, p.sent)
	}
	p.fails = nil
	if err := run(true); err == nil || len(p.sent) != 1 {
		t.Errorf("killed before remembering: %v, sent %v", err, p.sent)
	}
	must(t, run(false))
	must(t, run(false))
	if len(p.sent) != 2 || p.sent[0] != p.sent[1] {
		t.Errorf("sent %v", p.sent)
	}
}

// TestNoWayToSend is no failure: it is tried again until there is one.
func TestNoWayToSend(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	history(t, s, rooms, "2026-11-01", "2026-11-30")
	marked(s, rooms, "2026-11-30")
	p := &postman{none: true}
	k := reporter(t, s, rooms, h, p)
	must(t, k.months(ctx, local("2026-12-01 06:00")))
	p.none = false
	marked(s, rooms, "2026-12-02")
	must(t, k.months(ctx, local("2026-12-03 06:00")))
	if len(p.sent) != 1 {
		t.Errorf("sent %v", p.sent)
	}
}

// TestMonthsByTheClock runs the real scheduler: in Berlin the report of March is
// there at 05:30 on 1 April, also when the program was down until noon.
func TestMonthsByTheClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sleepUntil(local("2026-03-30 12:00"))
		s := newFake()
		h, rooms := twoRooms()
		for _, r := range rooms {
			s.add(r.ID, fact(coordinator.FactCalled, "w1", "2026-03-30 08:00", 0, time.Minute))
		}
		p := &postman{}
		stop := start(reporter(t, s, rooms, h, p))
		sleepUntil(local("2026-04-01 05:29"))
		if len(reported(t, s)) != 0 {
			t.Error("a report before its time")
		}
		sleepUntil(local("2026-04-01 05:31"))
		stop()
		if got := reported(t, s); !slices.Equal(got, []string{"2026-03"}) {
			t.Errorf("reports of %v", got)
		}
		sleepUntil(local("2026-06-01 12:00"))
		stop = start(reporter(t, s, rooms, h, p))
		sleepUntil(local("2026-06-01 12:02"))
		stop()
		if got := reported(t, s); !slices.Equal(got, []string{"2026-05", "2026-04", "2026-03"}) || len(p.sent) != 2 {
			t.Errorf("after the time down: reports of %v, sent %v", got, p.sent)
		}
	})
}

func TestBadMonths(t *testing.T) {
	for _, text := range []string{"", "2026", "2026-13", "2026-1", "26-01", "2026-01-01"} {
		if m, err := ParseMonth(text); err == nil {
			t.Errorf("%q is taken for %v", text, m)
		}
	}
	if m, err := ParseMonth("2028-02"); err != nil || m.Last().Day != 29 || m.before().String() != "2028-01" || m.Next().String() != "2028-03" {
		t.Errorf("%v, %v", m, err)
	}
	s := newFake()
	s.sums["~reports/2026-11"] = []byte("{")
	s.sums["~report-of/2026-11/"] = []byte(`{"V":99}`)
	if _, err := MonthsReported(ctx, s); err == nil {
		t.Error("a damaged list was read")
	}
	if _, err := StoredReport(ctx, s, Month{2026, 11}, ""); err == nil || !strings.Contains(err.Error(), "newer") {
		t.Errorf("a report of the future: %v", err)
	}
	if _, err := NewKeeper(s, nil, Options{Zone: berlin, Monthly: MonthlyOptions{Schedule: "nonsense"}}); err == nil {
		t.Error("a schedule that is none was taken")
	}
}
