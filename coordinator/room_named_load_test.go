package coordinator

import (
	"slices"
	"testing"
	"time"

	"drumturn/queue"
)

// TestWhatIsSaidOfANamedLoad: a button in a notice names its load. It works
// without the machine's name, for the load's home only, and never for another
// load that has been put into the machine since.
func TestWhatIsSaidOfANamedLoad(t *testing.T) {
	s := doneFor(t, time.Minute, nil)
	first := s.room.Snapshot(s.now).Machine("w1").Load.ID
	s.refused(Collect{Person: "ben", Home: "home-ben", Load: first}, "collect.foreign")
	s.refused(MoreTime{Person: "ben", Home: "home-ben", Load: first}, "more.none")
	s.refused(NotMe{Person: "ben", Home: "home-ben", Load: first}, "notme.none")
	s.refused(StillInside{Person: "anna", Home: "home-anna", Load: first}, "still.none")
	s.do(MoreTime{Person: "anna", Home: "home-anna", Load: first})
	if l := s.room.Snapshot(s.now).Machine("w1").Load; !l.MoreUntil.After(s.now) {
		t.Errorf("more time was not given: %+v", l)
	}
	s.do(Collect{Person: "flatmate", Home: "home-anna", Load: first})
	s.wantStatus("w1", Free)
	s.refused(StillInside{Person: "ben", Home: "home-ben", Load: first}, "still.foreign")
	s.do(StillInside{Person: "anna", Home: "home-anna", Load: first})
	s.do(Collect{Person: "anna", Home: "home-anna", Load: first})

	s.join("ben", queue.Wash)
	s.cycle("w1", time.Hour)
	second := s.room.Snapshot(s.now).Machine("w1").Load.ID
	for _, ev := range []Event{
		Collect{Person: "anna", Home: "home-anna", Load: first}, MoreTime{Person: "anna", Home: "home-anna", Load: first},
		NotMe{Person: "anna", Home: "home-anna", Load: first},
	} {
		s.refused(ev, "load.gone")
	}
	s.refused(StillInside{Person: "anna", Home: "home-anna", Load: first}, "still.next")
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l == nil || l.ID != second || !l.MoreUntil.IsZero() {
		t.Errorf("a word about the load before has touched this one: %+v", l)
	}
}

// TestNoticesOfferMoreTime: what a notice offers is what the house gave when it
// was made, and nothing once it was given.
func TestNoticesOfferMoreTime(t *testing.T) {
	for _, c := range []struct {
		name    string
		waits   bool
		asked   bool
		offered time.Duration
	}{
		{"nobody waits", false, false, 10 * time.Minute},
		{"somebody waits", true, false, 3 * time.Minute},
		{"asked for already", false, true, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, func(p *Plan) {
				oneWasher(p)
				p.Seed.MoreTime, p.Seed.MoreTimeWaiting = 10*time.Minute, 3*time.Minute
			})
			s.join("anna", queue.Wash)
			if c.waits {
				s.join("ben", queue.Wash)
			}
			s.cycle("w1", time.Hour)
			if got := s.newest(LoadReady); got.MoreTime != c.offered && !c.asked {
				t.Errorf("a load that is ready offers %v, want %v", got.MoreTime, c.offered)
			}
			if c.asked {
				s.do(more("anna"))
			}
			s.wait(30 * time.Minute)
			if got := s.newest(LoadNudge); got.MoreTime != c.offered {
				t.Errorf("a nudge offers %v, want %v", got.MoreTime, c.offered)
			}
		})
	}
}

// newest is the notice of a kind that was told last.
func (s *scene) newest(kind NoticeKind) Notice {
	s.Helper()
	for _, n := range slices.Backward(s.notices) {
		if n.Kind == kind {
			return n
		}
	}
	s.Fatalf("nobody was told %s", kind)
	return Notice{}
}
