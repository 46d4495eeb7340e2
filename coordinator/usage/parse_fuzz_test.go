package usage

import (
	"errors"
	"strings"
	"testing"

	"drumturn/coordinator"
)

// FuzzQuery: whatever is asked for is answered, or refused with which part is wrong
// and what would be right.
func FuzzQuery(f *testing.F) {
	for _, q := range [][5]string{
		{"2026-11-01", "2026-11-30", "day", "", ""}, {"2026-11-30", "2026-11-01", "week", "cellar", "w1"}, {"", "2026-02-30", "fortnight", "garage", ""},
		{"0001-01-01", "9999-12-31", "all", "", "w1"}, {"2028-02-29", "2028-02-29", "month", "cellar", "../w1"},
	} {
		f.Add(q[0], q[1], q[2], q[3], q[4])
	}
	h, _ := twoRooms()
	s := newFake()
	f.Fuzz(func(t *testing.T, from, to, by, room, machine string) {
		q := Query{By: Period(by), Scope: Scope{coordinator.RoomID(room), coordinator.MachineID(machine)}}
		_, _ = q.From.UnmarshalText([]byte(from)), q.To.UnmarshalText([]byte(to))
		r, err := MakeReport(ctx, s, h, q)
		var bad *QueryError
		switch {
		case err == nil && (r.Whole.From != q.From || len(r.Periods) == 0 || len(r.Periods) > MaxDays+1):
			t.Errorf("%+v has %d periods", q, len(r.Periods))
		case err != nil && (!errors.As(err, &bad) || bad.Part == "" || bad.Wrong == "" || bad.Right == ""):
			t.Errorf("%+v: %v", q, err)
		}
	})
}

// FuzzMonth: what is read as a month is written the same.
func FuzzMonth(f *testing.F) {
	for _, text := range []string{"2026-11", "0001-01", "9999-12", "2026-1", "", "+026-11"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if m, err := ParseMonth(text); err == nil && m.String() != text {
			t.Errorf("%q was read as %v", text, m)
		}
	})
}

// FuzzStoredReport: a monthly report that is kept is read, or refused with its key.
func FuzzStoredReport(f *testing.F) {
	s := newFake()
	h, rooms := twoRooms()
	for i := range rooms {
		must(f, rollUp(ctx, s, &rooms[i], date("2026-10-01"), berlin, markAt("2026-10-02 04:15")))
	}
	k, err := NewKeeper(s, func() []Room { return rooms }, Options{Zone: berlin, Log: silent()})
	must(f, err)
	must(f, k.makeMonth(ctx, h, Month{2026, 10}, local("2026-11-01 05:30")))
	f.Add(s.sums[reportKey(Month{2026, 10}, "")])
	for _, text := range []string{`{}`, `{"V":99}`, `{"V":2,"Whole":{"Waits":"!"}}`, `null`, `{"Week":"AAAA"}`, ``} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, value []byte) {
		s := newFake()
		s.sums[reportKey(Month{2026, 10}, "")] = value
		r, err := StoredReport(ctx, s, Month{2026, 10}, "")
		if err != nil && !strings.Contains(err.Error(), "2026-10") {
			t.Errorf("%q: %v", value, err)
		}
		if err == nil {
			if r == nil {
				t.Fatalf("%q: nothing was read, and no error", value)
			}
			r.Tables() // must not panic
		}
	})
}
