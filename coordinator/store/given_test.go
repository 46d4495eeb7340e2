package store

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// TestGivenIsOnlyAShortcut: what is recorded of a row is the same whether or not
// the store remembers how it gave the row out, and whatever happened to the row
// in between.
func TestGivenIsOnlyAShortcut(t *testing.T) {
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	subject := coordinator.Subject{Room: "cellar", Load: 7}
	notice := func(kind coordinator.NoticeKind, at time.Time) coordinator.Notice {
		return coordinator.Notice{Subject: subject, Kind: kind, Step: 1, To: "p1", Machine: 2, MachineKind: queue.Washer, Made: at, UsefulUntil: at.Add(time.Hour)}
	}
	first, second := notice(coordinator.LoadReady, now), notice(coordinator.LoadNudge, now.Add(time.Minute))
	between := map[string]coordinator.ChangeSet{
		"nothing":   {Unit: "cellar", Expect: 1},
		"withdrawn": {Unit: "cellar", Expect: 1, At: now, Withdraw: []coordinator.Subject{subject}},
		"a newer":   {Unit: "cellar", Expect: 1, At: now, Notices: []coordinator.Notice{second}},
	}
	for name, set := range between {
		var kept [2]string
		for i, forgets := range []bool{false, true} {
			f, err := Open(filepath.Join(t.TempDir(), "building.db"), Options{NoSync: true})
			if err != nil {
				t.Fatal(err)
			}
			must(t, f.Commit(t.Context(), coordinator.ChangeSet{Unit: "cellar", At: now, Notices: []coordinator.Notice{first}}))
			rows, err := f.DueDeliveries(t.Context(), now, 9, nil)
			if err != nil || len(rows) != 1 {
				t.Fatal(rows, err)
			}
			if name != "nothing" {
				must(t, f.Commit(t.Context(), set))
			}
			if forgets {
				f.given.rows = nil
			}
			row := rows[0]
			row.State, row.Why, row.Changed = coordinator.Done, coordinator.WhySent, now.Add(time.Second)
			row.Told = []coordinator.Told{{Person: "p1", Reason: coordinator.ReasonNow, At: now}, {Person: "p2", ForHome: true, Reason: coordinator.ReasonUnwanted, At: now}}
			must(t, f.RecordDeliveries(t.Context(), row))
			all, err := f.Deliveries(t.Context(), 9)
			must(t, err)
			due, err := f.DueDeliveries(t.Context(), now.Add(time.Hour), 9, nil)
			must(t, err)
			others, err := f.DeliveriesTo(t.Context(), "p2", 9)
			must(t, err)
			kept[i] = fmt.Sprintf("%+v\n%+v\n%+v", flat(all), flat(due), flat(others))
			must(t, f.Close())
		}
		if kept[0] != kept[1] {
			t.Errorf("%s: remembered\n%s\nforgotten\n%s", name, kept[0], kept[1])
		}
	}
}

// flat shows what Newer points to.
func flat(rows []coordinator.Delivery) (out []string) {
	for _, d := range rows {
		newer := d.Newer
		d.Newer = nil
		out = append(out, fmt.Sprintf("%+v newer %+v", d, newer))
	}
	return out
}

func TestGivenForgets(t *testing.T) {
	var g given
	g.note("one", &coordinator.Delivery{Key: "a", Tries: 3})
	if d := g.take("a", []byte("two")); d != nil {
		t.Errorf("another row is stored: %+v", d)
	}
	if d := g.take("a", []byte("one")); d != nil {
		t.Errorf("taken already: %+v", d)
	}
	g.note("one", &coordinator.Delivery{Key: "a", Tries: 3})
	if d := g.take("a", []byte("one")); d == nil || d.Tries != 3 {
		t.Errorf("not remembered: %+v", d)
	}
	for i := range 3 * mostGiven {
		g.note("", &coordinator.Delivery{Key: fmt.Sprint(i)})
		if len(g.rows) > mostGiven {
			t.Fatalf("%d rows are remembered", len(g.rows))
		}
	}
}
