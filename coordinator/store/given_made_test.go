package store

import (
	"context"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// TestMadeRowsAreAsRead: a row that is remembered from when it was made is given out
// exactly as a store that knows only its file gives it: with the instants that are
// stored, which no clock of this process follows, and after a commit that failed not at all.
func TestMadeRowsAreAsRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "building.db")
	f, err := Open(path, Options{NoSync: true})
	must(t, err)
	now := time.Now() // with the process's own clock in it
	var set coordinator.ChangeSet
	set.Unit, set.At = "cellar", now
	for i := range 50 {
		set.Notices = append(set.Notices, coordinator.Notice{
			Subject: coordinator.Subject{Room: "cellar", Turn: coordinator.TurnID(i + 1)}, Kind: coordinator.TurnCalled, Step: 1, To: "p1", Machine: 2,
			MachineKind: queue.Washer, Made: now, Until: now.Add(time.Minute), UsefulUntil: now.Add(time.Hour), Reason: "<ä> \"&\u2028",
		})
	}
	must(t, f.Commit(ctx, set))
	if len(f.given.rows) != len(set.Notices) {
		t.Errorf("%d rows are remembered", len(f.given.rows))
	}
	remembered, err := f.DueDeliveries(ctx, now.Add(time.Second), 99, nil)
	must(t, err)

	// The same row again is not made anew, nor remembered otherwise than it is stored.
	again := set
	again.Expect = 1
	again.Notices = append([]coordinator.Notice(nil), set.Notices...)
	again.Notices[0].Machine = 9
	must(t, f.Commit(ctx, again))
	wrong := set // a sequence that is past: refused
	wrong.Notices = []coordinator.Notice{set.Notices[0]}
	wrong.Notices[0].Step = 7
	if err := f.Commit(ctx, wrong); err == nil {
		t.Error("the wrong sequence was taken")
	}
	late, err := f.DueDeliveries(ctx, now.Add(time.Second), 99, nil)
	must(t, err)
	must(t, f.Close())

	f, err = Open(path, Options{NoSync: true})
	must(t, err)
	defer func() { must(t, f.Close()) }()
	read, err := f.DueDeliveries(context.Background(), now.Add(time.Second), 99, nil)
	must(t, err)
	if len(read) != 50 || !reflect.DeepEqual(remembered, read) || !reflect.DeepEqual(late, read) {
		t.Errorf("remembered %d, read %d rows\n%+v\n%+v", len(remembered), len(read), remembered[0], read[0])
	}
}

// TestWhatIsRememberedIsNotStale: a row that was written since it was made, or given
// out, is given out as it is now.
func TestWhatIsRememberedIsNotStale(t *testing.T) {
	f, _ := openFile(t)
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	notice := func(step int, at time.Time) coordinator.Notice {
		return coordinator.Notice{Subject: coordinator.Subject{Room: "cellar", Load: 7}, Kind: coordinator.LoadNudge, Step: step, To: "p1", Machine: 2, MachineKind: queue.Washer, Made: at, UsefulUntil: at.Add(time.Hour)}
	}
	due := func() coordinator.Delivery {
		rows, err := f.DueDeliveries(ctx, now.Add(time.Minute), 9, nil)
		must(t, err)
		if len(rows) == 0 {
			t.Fatal("none is due")
		}
		return rows[0]
	}
	must(t, f.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: now, Notices: []coordinator.Notice{notice(1, now)}}))
	if due().Newer != nil {
		t.Error("there is no newer one yet")
	}
	later := notice(2, now.Add(time.Second))
	must(t, f.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: 1, At: later.Made, Notices: []coordinator.Notice{later}}))
	row := due()
	if row.Newer == nil || !row.Newer.Made.Equal(later.Made) {
		t.Errorf("the newer one is not seen: %+v", row)
	}
	row.Tries, row.Why = 3, coordinator.WhyRetry
	must(t, f.RecordDeliveries(ctx, row))
	if got := due(); got.Tries != 3 || got.Why != coordinator.WhyRetry {
		t.Errorf("what was recorded is not seen: %+v", got)
	}
}
