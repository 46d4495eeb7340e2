package tracestory

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

func TestWords(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{span(0), "0 s"},
		{span(45 * time.Second), "45 s"},
		{span(185 * time.Second), "3 min 5 s"},
		{span(10*time.Minute + 30*time.Second), "10 min"},
		{span(103 * time.Minute), "1 h 43 min"},
		{span(76 * time.Hour), "3 d 4 h"},
		{span(-90 * time.Second), "-1 min 30 s"},
		{minutes(29 * time.Second), "0 min"},
		{minutes(90 * time.Minute), "1 h 30 min"},
		{thousands(0), "0"},
		{thousands(999), "999"},
		{thousands(1000), "1,000"},
		{thousands(1234567), "1,234,567"},
		{count(1, "reading", "readings"), "1 reading"},
		{count(0, "reading", "readings"), "0 readings"},
		{stretch(epoch, epoch.Add(time.Minute)), "Sat 31 Jan 2026 18:00:00 to 18:01:00"},
		{stretch(epoch, epoch.Add(9*time.Hour)), "Sat 31 Jan 2026 18:00:00 to Sun 1 Feb 2026 03:00:00"},
		{forecast(cycle.Estimate{Median: 20 * time.Minute, Low: 15 * time.Minute, High: 70 * time.Minute}), "20 min to go (15 min to 1 h 10 min)"},
		{forecast(cycle.Estimate{Overdue: true, High: 10 * time.Minute}), "any minute now (up to 10 min)"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}
