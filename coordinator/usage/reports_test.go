package usage

import (
	"fmt"
	"testing"

	"drumturn/coordinator"
)

// TestReportsAreKept: a report is made once until sums may have changed, another
// is asked for, or the house is another.
func TestReportsAreKept(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	history(t, s, rooms, "2026-11-01", "2026-11-03")
	counted, edition := &reader{s: s}, uint64(1)
	reports := NewReports(counted, func() uint64 { return edition })
	q := Query{From: date("2026-11-01"), To: date("2026-11-30"), By: ByDay}
	made := func(what string, want bool) *Report {
		t.Helper()
		before := counted.read
		r, err := reports.Report(ctx, h, q)
		must(t, err)
		if got := counted.read > before; got != want {
			t.Errorf("%s: made anew: %v", what, got)
		}
		return r
	}
	first := made("first", true)
	if again := made("again", false); again != first || first.Whole.Cycles != 9 {
		t.Errorf("%+v", again.Whole)
	}
	q.By = ByMonth
	made("another query", true)
	q.By = ByDay
	made("the first query", false)
	h.Rooms[0].Name = "Loft"
	if r := made("another name", true); r.Rooms[0].Name != "Loft" {
		t.Errorf("%+v", r.Rooms)
	}
	h.Tariffs = append(h.Tariffs, coordinator.TariffVersion{Version: 1})
	made("another tariff", true)
	edition++
	made("after a night", true)
	if len(reports.kept) != 1 {
		t.Errorf("%d reports of another edition are kept", len(reports.kept)-1)
	}
	q.By = "fortnight"
	if _, err := reports.Report(ctx, h, q); err == nil {
		t.Error("a bad query was answered")
	}
}

// TestKeptReportsAreBounded: the rows of all that is kept stay below the bound, and
// what was asked for last stays.
func TestKeptReportsAreBounded(t *testing.T) {
	reports := NewReports(newFake(), func() uint64 { return 0 })
	h, _ := twoRooms()
	for i := range 30 {
		q := Query{From: date("2026-01-01"), To: date("2026-01-01").Add(500 + i), By: ByDay}
		r, err := reports.Report(ctx, h, q)
		must(t, err)
		rows := 0
		for _, k := range reports.kept {
			rows += k.rows
		}
		if last := reports.kept[len(reports.kept)-1]; rows > mostKeptRows || last.report != r {
			t.Fatalf("%d rows are kept after %s", rows, fmt.Sprint(q))
		}
	}
	if len(reports.kept) < 8 {
		t.Errorf("only %d are kept", len(reports.kept))
	}
}
