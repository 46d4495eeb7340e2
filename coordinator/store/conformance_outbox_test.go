package store

import (
	"fmt"
	"testing"
	"time"

	"drumturn/coordinator"
)

// keysOf lists key and state of rows.
func keysOf(rows []coordinator.Delivery) (out []string) {
	for _, d := range rows {
		out = append(out, fmt.Sprintf("%s %s", d.Key, d.State))
	}
	return out
}

func deliveries(t failer, s Store) []coordinator.Delivery {
	t.Helper()
	return get[[]coordinator.Delivery](t)(s.Deliveries(ctx, 1000))
}

func due(t failer, s Store, now time.Time) []coordinator.Delivery {
	t.Helper()
	return get[[]coordinator.Delivery](t)(s.DueDeliveries(ctx, now, 1000, nil))
}

func conformOnce(t *testing.T, s Store, _ func() Store) {
	n := notice("cellar", 1, 0, at(5))
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: at(6), Notices: []coordinator.Notice{n, n}}))
	want := coordinator.Delivery{Key: n.Key(), Notice: n, State: coordinator.Pending, NextAt: at(5), Changed: at(6)}
	wantSame(t, "the new row", deliveries(t, s), []coordinator.Delivery{want})

	want.State, want.Tries, want.Why, want.Changed = coordinator.Done, 1, "sent", at(7)
	want.Devices = []coordinator.DeviceResult{{Device: "d", Sent: true, Status: 201, At: at(7)}}
	must(t, s.RecordDeliveries(ctx, want))
	again := n
	again.Made = at(50)
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: 1, At: at(50), Notices: []coordinator.Notice{again}}))
	wantSame(t, "after the same key again", deliveries(t, s), []coordinator.Delivery{want})
	wantSame(t, "due", due(t, s, at(1e6)), []coordinator.Delivery{})
}

func conformWithdraw(t *testing.T, s Store, _ func() Store) {
	sent, waits, other := notice("cellar", 1, 0, at(1)), notice("cellar", 1, 1, at(2)), notice("cellar", 11, 0, at(3))
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: at(3), Notices: []coordinator.Notice{sent, waits, other}}))
	must(t, s.RecordDeliveries(ctx, coordinator.Delivery{Key: sent.Key(), Notice: sent, State: coordinator.Done, Changed: at(4)}))

	created := notice("cellar", 1, 2, at(10))
	must(t, s.Commit(ctx, coordinator.ChangeSet{
		Unit: "cellar", Expect: 1, At: at(10),
		Withdraw: []coordinator.Subject{waits.Subject, {Room: "cellar", Turn: 9}},
		Notices:  []coordinator.Notice{created, waits},
	}))
	wantSame(t, "newest first", keysOf(deliveries(t, s)), []string{
		created.Key() + " pending", other.Key() + " pending", waits.Key() + " withdrawn", sent.Key() + " done",
	})
	for _, d := range deliveries(t, s) {
		if d.Key == waits.Key() && !d.Changed.Equal(at(10)) {
			t.Errorf("the withdrawn row says it changed at %v", d.Changed)
		}
	}
	wantSame(t, "due", keysOf(due(t, s, at(100))), []string{other.Key() + " pending", created.Key() + " pending"})
}

func conformDue(t *testing.T, s Store, _ func() Store) {
	a, b, c := notice("cellar", 1, 0, at(30)), notice("cellar", 2, 0, at(10)), notice("attic", 3, 0, at(20))
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: at(30), Notices: []coordinator.Notice{a, b, c}}))
	wantSame(t, "all", keysOf(due(t, s, at(30))), keysOf([]coordinator.Delivery{
		{Key: b.Key(), State: "pending"}, {Key: c.Key(), State: "pending"}, {Key: a.Key(), State: "pending"},
	}))
	if got := due(t, s, at(30).Add(-1)); len(got) != 2 {
		t.Errorf("a nanosecond before the last, %d are due", len(got))
	}
	if got := get[[]coordinator.Delivery](t)(s.DueDeliveries(ctx, at(99), 1, nil)); len(got) != 1 || got[0].Key != b.Key() {
		t.Errorf("limited to one: %v", keysOf(got))
	}
	if got := get[[]coordinator.Delivery](t)(s.Deliveries(ctx, 2)); len(got) != 2 || got[0].Key != a.Key() {
		t.Errorf("the two newest: %v", keysOf(got))
	}
	if next := get[time.Time](t)(s.NextDelivery(ctx)); !next.Equal(at(10)) {
		t.Errorf("next is %v", next)
	}
	must(t, s.RecordDeliveries(ctx, coordinator.Delivery{Key: b.Key(), Notice: b, State: coordinator.Pending, NextAt: at(500), Tries: 1}))
	if next := get[time.Time](t)(s.NextDelivery(ctx)); !next.Equal(at(20)) {
		t.Errorf("after a put-off, next is %v", next)
	}
	if got := due(t, s, at(499)); len(got) != 2 {
		t.Errorf("a row put off is due: %v", keysOf(got))
	}
}

func conformRecord(t *testing.T, s Store, _ func() Store) {
	n := notice("cellar", 1, 0, at(1))
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: at(1), Notices: []coordinator.Notice{n}}))
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: 1, At: at(2), Withdraw: []coordinator.Subject{n.Subject}}))
	results := []coordinator.DeviceResult{{Device: "phone", Sent: true, Status: 201, At: at(3)}}
	must(t, s.RecordDeliveries(ctx, coordinator.Delivery{
		Key: n.Key(), Notice: n, State: coordinator.Pending, NextAt: at(9), Tries: 1, Why: "retry", Devices: results, Changed: at(3),
	}))
	got := deliveries(t, s)[0]
	if got.State != coordinator.Withdrawn || len(got.Devices) != 1 || !got.Changed.Equal(at(3)) {
		t.Errorf("the row is %s", plain(got))
	}
	if next := get[time.Time](t)(s.NextDelivery(ctx)); !next.IsZero() {
		t.Errorf("a withdrawn row is due at %v", next)
	}
	must(t, s.RecordDeliveries(ctx, coordinator.Delivery{Key: "unheard of", Notice: notice("cellar", 5, 0, at(4)), State: coordinator.Done}))
	if len(deliveries(t, s)) != 2 {
		t.Error("a row that was not there is lost")
	}
}

func conformDaily(t *testing.T, s Store, reopen func() Store) {
	must(t, s.MarkJob(ctx, "rollup", "2026-11-25", at(0)))
	must(t, s.MarkJob(ctx, "rollup", "2026-11-25", at(1)))
	for key, value := range map[string]string{"a/w1/2026-11-24": "1", "a/w1/2026-11-25": "2", "b/w1/2026-11-24": ""} {
		must(t, s.PutRollups(ctx, coordinator.JobMark{}, coordinator.Rollup{Key: key, Value: []byte(value)}))
	}
	must(t, s.PutRollups(ctx, coordinator.JobMark{}, coordinator.Rollup{Key: "a/w1/2026-11-26", Value: []byte("4")}))
	must(t, s.PutRollups(ctx, coordinator.JobMark{Job: "month", Date: "2026-11", At: at(2)},
		coordinator.Rollup{Key: "a/w1/2026-11-24", Value: []byte("3")}, coordinator.Rollup{Key: "a/w1/2026-11-26"}))
	s = reopen()
	for job, want := range map[[2]string]bool{{"rollup", "2026-11-25"}: true, {"rollup", "2026-11-24"}: false, {"roll", "up2026-11-25"}: false, {"month", "2026-11"}: true, {"", ""}: false} {
		if got := get[bool](t)(s.JobDone(ctx, job[0], job[1])); got != want {
			t.Errorf("%v done: %v", job, got)
		}
	}
	wantSame(t, "a's", sums(t, s, "a/", "a0"), []string{"a/w1/2026-11-24=3", "a/w1/2026-11-25=2"})
	wantSame(t, "to is left out", sums(t, s, "a/w1/2026-11-24", "a/w1/2026-11-25"), []string{"a/w1/2026-11-24=3"})
	wantSame(t, "no end", sums(t, s, "a/w1/2026-11-25", ""), []string{"a/w1/2026-11-25=2", "b/w1/2026-11-24="})
}

func conformForgetJobs(t *testing.T, s Store, reopen func() Store) {
	for _, mark := range [][2]string{{"rollup/a", "2026-11-24"}, {"rollup/a", "2026-11-25"}, {"rollup/a", "2026-12-01"}, {"rollup/ab", "2026-12-01"}, {"rollup", "2026-12-01"}, {"sum", "2026-12-01"}} {
		must(t, s.MarkJob(ctx, mark[0], mark[1], at(0)))
	}
	for _, c := range []struct {
		job, from string
		want      bool
	}{{"rollup/a", "2026-12-02", false}, {"rollup/b", "2026-01-01", false}, {"rollup/a", "2026-11-25", true}, {"rollup/a", "2026-11-25", false}} {
		if got := get[bool](t)(s.ForgetJobs(ctx, c.job, c.from)); got != c.want {
			t.Errorf("marks of %s from %s on were taken back: %v", c.job, c.from, got)
		}
	}
	s = reopen()
	for mark, want := range map[[2]string]bool{
		{"rollup/a", "2026-11-24"}: true, {"rollup/a", "2026-11-25"}: false, {"rollup/a", "2026-12-01"}: false,
		{"rollup/ab", "2026-12-01"}: true, {"rollup", "2026-12-01"}: true, {"sum", "2026-12-01"}: true,
	} {
		if got := get[bool](t)(s.JobDone(ctx, mark[0], mark[1])); got != want {
			t.Errorf("%v is done: %v", mark, got)
		}
	}
}

func conformRetain(t *testing.T, s Store, _ func() Store) {
	fact := func(seconds float64) coordinator.Fact {
		return coordinator.Fact{At: at(seconds), Kind: coordinator.FactStarted, Machine: "w1", Person: "ada", Home: "12", Turn: 3}
	}
	for i, unit := range []coordinator.Unit{"cellar", "attic"} {
		settled, pending := notice(unit, 1, 0, at(1)), notice(unit, 2, 0, at(1))
		must(t, s.Commit(ctx, coordinator.ChangeSet{
			Unit: unit, At: at(20), Facts: []coordinator.Fact{fact(1), fact(10), fact(20)},
			Readings: []coordinator.MachineReading{reading("w1", 1, 1), reading("w1", 10, 2), reading("w1", 20, 3), reading("w2", -1e6, 3)},
			Notices:  []coordinator.Notice{settled, pending, notice(unit, 3, 0, at(10))},
		}))
		must(t, s.RecordDeliveries(ctx, coordinator.Delivery{Key: settled.Key(), Notice: settled, State: coordinator.Done}))
		if got := len(deliveries(t, s)); got != 3*(i+1) {
			t.Fatalf("%d rows", got)
		}
	}
	retainAll(t, s, "cellar", at(10), at(10))

	blank := fact(1)
	blank.Person, blank.Home = "", ""
	wantSame(t, "facts", facts(t, s, "cellar", time.Time{}, at(99)), []coordinator.Fact{blank, fact(10), fact(20)})
	wantSame(t, "readings", readings(t, s, "cellar", "w1", at(-1e7), at(99)), []coordinator.MachineReading{reading("w1", 10, 2), reading("w1", 20, 3)})
	wantSame(t, "old readings", readings(t, s, "cellar", "w2", at(-1e7), at(99)), []coordinator.MachineReading{})
	if got := len(deliveries(t, s)); got != 5 {
		t.Errorf("%d rows are left instead of 5", got)
	}
	wantSame(t, "the other unit", facts(t, s, "attic", time.Time{}, at(99)), []coordinator.Fact{fact(1), fact(10), fact(20)})

	late := fact(2) // arrives after its time has been blanked
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: 1, At: at(30), Facts: []coordinator.Fact{late}}))
	retainAll(t, s, "cellar", at(11), at(10))
	for _, f := range facts(t, s, "cellar", time.Time{}, at(11)) {
		if f.Person != "" || f.Home != "" || f.Turn != 3 {
			t.Errorf("kept too much or too little: %s", plain(f))
		}
	}
}

func retainAll(t failer, s Store, unit coordinator.Unit, byPerson, before time.Time) {
	t.Helper()
	for range 1000 {
		if !get[bool](t)(s.Retain(ctx, unit, byPerson, before)) {
			return
		}
	}
	t.Fatalf("there is always more to retain")
}

func conformCallbacks(t *testing.T, s Store, _ func() Store) {
	set := row("cellar", 0, "a", "1")
	set.Facts = []coordinator.Fact{{At: at(1)}, {At: at(2)}}
	set.Readings = []coordinator.MachineReading{reading("w1", 1, 1), reading("w1", 2, 1)}
	must(t, s.Commit(ctx, set))
	must(t, s.PutRollups(ctx, coordinator.JobMark{}, coordinator.Rollup{Key: "k", Value: []byte{}}))
	seq := uint64(1)
	write := func() bool {
		must(t, s.Commit(ctx, row("cellar", seq, "b", "2")))
		seq++
		return true
	}
	must(t, s.Facts(ctx, "cellar", at(0), at(9), func(coordinator.Fact) bool { return write() }))
	must(t, s.Readings(ctx, "cellar", "w1", at(0), at(9), func(coordinator.MachineReading) bool { return write() }))
	must(t, s.Rollups(ctx, "", "", func(string, []byte) bool { return write() }))
	if seq != 6 {
		t.Errorf("the callbacks wrote %d times", seq-1)
	}
}

func conformReopen(t *testing.T, s Store, reopen func() Store) {
	set := row("cellar", 0, "a", "1")
	set.Facts = []coordinator.Fact{{At: at(1), Kind: coordinator.FactJoined}}
	set.Readings = []coordinator.MachineReading{reading("w1", 1, 2.5)}
	set.Notices = []coordinator.Notice{notice("cellar", 1, 0, at(1))}
	must(t, s.Commit(ctx, set))
	before, rows := get[coordinator.Stored](t)(s.Load(ctx, "cellar")), deliveries(t, s)
	s = reopen()
	wantSame(t, "the unit", get[coordinator.Stored](t)(s.Load(ctx, "cellar")), before)
	wantSame(t, "the outbox", deliveries(t, s), rows)
	must(t, s.Commit(ctx, row("cellar", 1, "a", "2")))
}
