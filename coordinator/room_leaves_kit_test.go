package coordinator

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

// These tests say, line by line, all that a step leaves behind: what the log says of
// it, whom it tells what, and what it takes back of what was not yet told. Each line
// has every field, so that nothing is in a log or a notice that should not be, and
// nothing is missing.

// leaves is one thing that happens in a room, and all that it leaves.
type leaves struct {
	name string
	plan func(*Plan)  // other than a room with washers 1 and 2 and dryer 3
	when func(*scene) // what was before
	do   func(*scene)
	want []string
}

// checkLeaves plays each of the things.
func checkLeaves(t *testing.T, list []leaves) {
	for _, l := range list {
		t.Run(l.name, func(t *testing.T) {
			s := newScene(t, l.plan)
			if l.when != nil {
				l.when(s)
			}
			s.left = []string{}
			l.do(s)
			if !slices.Equal(s.left, l.want) {
				t.Errorf("it leaves\n  %s\nwant\n  %s", strings.Join(s.left, "\n  "), strings.Join(l.want, "\n  "))
			}
		})
	}
}

// event is a thing that happens by one event.
func event(e Event) func(*scene) { return func(s *scene) { s.Helper(); s.do(e) } }

// power is a thing that happens by one reading.
func power(id MachineID, w float64) func(*scene) { return func(s *scene) { s.watts(id, w) } }

// linesOf are the lines of a change set: first what is withdrawn, as it is stored.
func linesOf(set *ChangeSet) []string {
	var out []string
	for _, subject := range set.Withdraw {
		out = append(out, "take back "+strings.TrimPrefix(subject.String(), string(set.Unit)+"/"))
	}
	for i := range set.Notices {
		out = append(out, tellLine(&set.Notices[i]))
	}
	for i := range set.Facts {
		out = append(out, logLine(&set.Facts[i]))
	}
	return out
}

// tellLine is a notice with all its fields but its key's number.
func tellLine(n *Notice) string {
	s := fmt.Sprintf("tell %s%s %s of %s", n.To, n.Role, n.Kind, strings.TrimPrefix(n.Subject.String(), string(n.Subject.Room)+"/"))
	if n.Machine != 0 {
		s += fmt.Sprintf(", %s %d", n.MachineKind, n.Machine)
	}
	s += moment(", until ", n.Until) + moment(", ready ", n.ReadyAt)
	if n.LoadInside {
		s += ", load inside"
	}
	if n.MoreTime != 0 {
		s += ", " + SpanText(n.MoreTime) + " more if asked"
	}
	if n.Reason != "" {
		s += ", " + n.Reason
	}
	return s + ", for " + SpanText(n.UsefulUntil.Sub(n.Made))
}

// logLine is a fact with all its fields.
func logLine(f *Fact) string {
	s := "log " + string(f.Kind)
	word := func(before string, v any) {
		if text := fmt.Sprint(v); text != "" && text != "0" {
			s += before + text
		}
	}
	word(" ", f.Machine)
	word(" by ", f.Person)
	word(" of ", f.Home)
	word(", turn ", f.Turn)
	word(" after ", f.By)
	word(" ", f.Why)
	word(", load ", f.Load)
	word(", cycle ", f.Cycle)
	s += moment(", from ", f.Start) + moment(" to ", f.End)
	if f.EnergyWh != 0 || f.PeakW != 0 {
		s += fmt.Sprintf(", %g Wh, %g W", f.EnergyWh, f.PeakW)
	}
	if f.Wait != 0 {
		s += ", waited " + SpanText(f.Wait)
	}
	word(": ", f.Note)
	return s
}

// moment is a time of day to the second, without seconds that are none.
func moment(before string, t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return before + strings.TrimSuffix(t.UTC().Round(time.Second).Format("15:04:05"), ":00")
}

// called lets people join for a washer, one after the other: the first two are called.
func called(who ...string) func(*scene) {
	return func(s *scene) {
		for _, w := range who {
			s.join(w, queue.Wash)
		}
	}
}

// washes lets anna wash in w1 from 12:00 on, ready at 13:00.
func washes(s *scene) {
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
}

// both does one thing after another.
func both(steps ...func(*scene)) func(*scene) {
	return func(s *scene) {
		for _, do := range steps {
			do(s)
		}
	}
}

// pass lets time pass.
func pass(d time.Duration) func(*scene) { return func(s *scene) { s.wait(d) } }
