package usage

import (
	"math"
	"testing"
	"time"

	"drumturn/queue"
)

// TestCells: what is no number, or no instant, has no value, which is not 0.
func TestCells(t *testing.T) {
	for name, c := range map[string]struct{ got, want Cell }{
		"a count":             {Count(-12), Cell{"-12", -12}},
		"two decimals":        {Fixed(1.005e3, 2), Cell{"1005.00", 1005}},
		"none":                {Fixed(2.6, 0), Cell{"3", 2.6}},
		"no number":           {Fixed(math.NaN(), 2), Cell{}},
		"without end":         {Fixed(math.Inf(1), 2), Cell{}},
		"without end below":   {Fixed(math.Inf(-1), 2), Cell{}},
		"a word":              {Word("w"), Cell{Text: "w"}},
		"an instant, locally": {Instant(time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC), berlin), Cell{Text: "2026-06-10T14:00:00+02:00"}},
		"no instant":          {Instant(time.Time{}, berlin), Cell{}},
	} {
		if c.got != c.want {
			t.Errorf("%s: %+v, want %+v", name, c.got, c.want)
		}
	}
}

// TestFiguresOfFew: shares and means of nothing are 0, not without end.
func TestFiguresOfFew(t *testing.T) {
	var none Figures
	if none.Utilisation() != 0 || none.KWhPerCycle() != 0 || none.KWh() != 0 {
		t.Errorf("of nothing: %v, %v, %v", none.Utilisation(), none.KWhPerCycle(), none.KWh())
	}
	closed := Figures{RunningOpen: time.Hour, CycleWh: 800}
	if closed.Utilisation() != 0 || closed.KWhPerCycle() != 0 {
		t.Errorf("of a closed day: %v, %v", closed.Utilisation(), closed.KWhPerCycle())
	}
	f := Figures{RunningOpen: 3 * time.Hour, Open: 12 * time.Hour, Cycles: 4, CycleWh: 3000, Used: []Used{{Cycles: 2_500_000, Standby: 100_000}, {Window: 1, Cycles: 500_000, Standby: 150_000}}}
	if f.Utilisation() != 0.25 || f.KWhPerCycle() != 0.75 || f.KWh() != 3.25 {
		t.Errorf("%v, %v, %v", f.Utilisation(), f.KWhPerCycle(), f.KWh())
	}
	h := Hour{Observed: 2 * time.Hour, Running: 3 * time.Hour, Starts: 5, Waiting: time.Hour}
	if h.MachinesRunning() != 1.5 || h.StartsPerHour() != 2.5 || h.TurnsWaiting() != 0.5 || (&Hour{Waiting: 1}).TurnsWaiting() != 0 {
		t.Errorf("%v, %v, %v", h.MachinesRunning(), h.StartsPerHour(), h.TurnsWaiting())
	}
}

// TestOpeningByHand: until loads must be over, or else the last start; of Wednesday, 10 June
// 2026, in Berlin. A closed day, and one that closes before it opens, has no length.
func TestOpeningByHand(t *testing.T) {
	const no = queue.NoClock
	for _, c := range []struct {
		day         queue.Day
		opens, ends string
	}{
		{queue.Day{Opens: no, LastStart: no, EndedBy: no}, "10 00:00", "11 00:00"},
		{queue.Day{Opens: 7 * 60, LastStart: no, EndedBy: no}, "10 07:00", "11 00:00"},
		{queue.Day{Opens: 7 * 60, LastStart: 20 * 60, EndedBy: no}, "10 07:00", "10 20:00"},
		{queue.Day{Opens: 7 * 60, LastStart: 20 * 60, EndedBy: 22 * 60}, "10 07:00", "10 22:00"},
		{queue.Day{Opens: no, LastStart: no, EndedBy: 22 * 60}, "10 00:00", "10 22:00"},
		{queue.Day{Opens: 22 * 60, LastStart: no, EndedBy: 7 * 60}, "10 22:00", "10 22:00"},
		{queue.Day{Opens: 7 * 60, LastStart: no, EndedBy: 22 * 60, Closed: true}, "10 00:00", "10 00:00"},
	} {
		hours := queue.AlwaysOpen()
		hours[time.Wednesday] = c.day
		opens, ends := opening(&hours, date("2026-06-10"), berlin)
		o, e := opens.In(berlin).Format("02 15:04"), ends.In(berlin).Format("02 15:04")
		if o != c.opens || e != c.ends {
			t.Errorf("%+v: from %s to %s, want %s to %s", c.day, o, e, c.opens, c.ends)
		}
	}
}
