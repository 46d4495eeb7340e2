package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// silence lets time pass in which no meter is heard, with every deadline at its instant.
func silence(d time.Duration) func(*scene) {
	return func(s *scene) {
		end := s.now.Add(d)
		for due := s.room.Deadline(); !due.IsZero() && !due.After(end); due = s.room.Deadline() {
			s.now = later(s.now, due)
			s.do(Tick{})
		}
		s.now = end
	}
}

// TestWhatFaultsLeave: reports, and machines that go out of service and come back.
func TestWhatFaultsLeave(t *testing.T) {
	leaks := event(ReportFault{Machine: "w1", Person: "ben", Home: "home-ben", Text: " It leaks. "})
	checkLeaves(t, []leaves{
		{
			name: "a fault of an empty machine", do: leaks,
			want: []string{
				"tell managers fault-told of machine/w1, washer 1, It leaks., for 1d",
				"log fault w1 by ben of home-ben: It leaks.",
			},
		},
		{
			name: "whose load is inside is told", when: washes, do: leaks,
			want: []string{
				"tell managers fault-told of machine/w1, washer 1, It leaks., for 1d",
				"tell anna load-fault of load/1, washer 1, for 12h",
				"log fault w1 by ben of home-ben: It leaks.",
			},
		},
		{
			name: "the report of a second home takes it out", when: both(leaks, called("anna")),
			do: event(ReportFault{Machine: "w1", Person: "cleo", Home: "home-cleo", Text: "It smells."}),
			want: []string{
				"take back turn/1", "take back turn/1",
				"tell managers fault-told of machine/w1, washer 1, It smells., for 1d",
				"tell anna turn-returned of turn/1, washer 1, for 1h",
				"tell managers machine-out of machine/w1, washer 1, for 1d",
				"tell anna turn-called of turn/1, washer 2, until 12:10, for 10m",
				"log fault w1 by cleo of home-cleo: It smells.",
				"log taken-back w1 by anna of home-anna, turn 1: out of service",
				"log out w1: reported by two homes",
				"log called w2 by anna of home-anna, turn 1",
			},
		},
		{
			name: "a manager takes it out with a load inside", when: washes, do: event(TakeOut{Machine: "w1", Person: "manager", Text: " Pump "}),
			want: []string{
				"tell anna load-fault of load/1, washer 1, out, for 12h",
				"log out w1 by manager: Pump",
			},
		},
		{
			name: "a manager puts it back", when: event(TakeOut{Machine: "w1", Person: "manager"}), do: event(PutBack{Machine: "w1", Person: "manager"}),
			want: []string{"log back w1 by manager"},
		},
		{
			name: "a manager clears what was reported", when: leaks, do: event(PutBack{Machine: "w1", Person: "manager"}),
			want: []string{"log back w1 by manager"},
		},
		{
			name: "there is nothing to put back", do: event(PutBack{Machine: "w1", Person: "manager"}), want: []string{},
		},
		{
			name: "a manager looked after its wear", do: event(LookedAfter{Machine: "w1", Person: "manager", Text: " Lint filter "}),
			want: []string{"log looked-after w1 by manager: Lint filter"},
		},
	})
}

// TestWhatSilenceLeaves: a meter that is heard no more, and again.
func TestWhatSilenceLeaves(t *testing.T) {
	checkLeaves(t, []leaves{
		{
			name: "a meter falls silent", plan: oneWasher, do: silence(10 * time.Minute),
			want: []string{
				"tell managers meter-silent of machine/w1, washer 1, until 12:00, for 1d",
				"log silent w1, from 12:00",
			},
		},
		{
			name: "a call is taken back", plan: oneWasher, when: both(pass(time.Minute), called("anna")), do: silence(10 * time.Minute),
			want: []string{
				"take back turn/1",
				"tell anna turn-returned of turn/1, washer 1, for 1h",
				"tell managers meter-silent of machine/w1, washer 1, until 12:01, for 1d",
				"log taken-back w1 by anna of home-anna, turn 1: meter silent",
				"log silent w1, from 12:01",
			},
		},
		{
			name: "it is heard again", plan: oneWasher, when: both(pass(time.Minute), silence(20*time.Minute)), do: power("w1", 1),
			want: []string{"take back machine/w1", "log heard w1, from 12:01"},
		},
	})
}

// TestWhatHandsLeave: a machine without a meter that can be trusted.
func TestWhatHandsLeave(t *testing.T) {
	byHand := event(ByHand{Machine: "w1", Person: "manager", On: true})
	checkLeaves(t, []leaves{
		{name: "by hand", do: byHand, want: []string{"log back w1 by manager: by hand"}},
		{name: "by hand is so already", when: byHand, do: byHand, want: []string{}},
		{
			name: "by meter again", when: byHand, do: event(ByHand{Machine: "w1", Person: "manager"}),
			want: []string{"log back w1 by manager: meter"},
		},
		{
			name: "who was called starts", when: both(byHand, called("anna")), do: event(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"}),
			want: []string{
				"take back turn/1",
				"tell anna load-begun of load/1, washer 1, for 15m",
				"log started w1 by anna of home-anna, turn 1, load 1, cycle 1, from 12:00",
			},
		},
		{
			name: "somebody starts who does not say who they are", when: byHand, do: event(StartByHand{Machine: "w1"}),
			want: []string{"log walk-up w1, load 1, cycle 1, from 12:00"},
		},
		{
			name: "a waiting turn is used up by its owner's start",
			plan: oneWasher, when: both(byHand, event(StartByHand{Machine: "w1"}), called("ben"), pass(time.Hour), event(EndByHand{Machine: "w1"})),
			do: event(StartByHand{Machine: "w1", Person: "ben", Home: "home-ben"}),
			want: []string{
				"take back load/1", "take back turn/1",
				"log collected w1, load 1, cycle 1, from 12:00 to 13:00: next start",
				"log walk-up w1, load 2, cycle 2, from 13:00",
				"log claimed w1 by ben of home-ben, load 2, cycle 2",
			},
		},
		{
			name: "the end is tapped", when: both(byHand, called("anna"), event(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"}), pass(30*time.Minute)),
			do: event(EndByHand{Machine: "w1"}),
			want: []string{
				"take back load/1",
				"tell anna load-ready of load/1, washer 1, ready 12:30, 10m more if asked, as-reported, for 2h",
				"log cycle w1, load 1, cycle 1, from 12:00 to 12:30: as-reported",
			},
		},
		{
			name: "the end is when it usually is", when: both(byHand, event(StartByHand{Machine: "w1"}), pass(time.Hour)),
			do:   pass(15 * time.Minute), // 75 minutes before anything is learned
			want: []string{"take back load/1", "log cycle w1, load 1, cycle 1, from 12:00 to 13:15: as-reported"},
		},
	})
}

// TestWhatAnInterruptionLeaves: power goes, and comes back.
func TestWhatAnInterruptionLeaves(t *testing.T) {
	dark := func(s *scene) {
		for _, id := range []MachineID{"w1", "w2", "d3"} {
			s.watts(id, 0)
		}
	}
	checkLeaves(t, []leaves{
		{
			name: "power goes", when: both(pass(time.Minute), dark), do: pass(2 * time.Minute),
			want: []string{"log supply, from 12:01: began"},
		},
		{
			name: "power is back, and a call goes on", when: both(pass(time.Minute), called("anna"), dark, pass(5*time.Minute)), do: power("w2", 1),
			want: []string{"log supply, from 12:01 to 12:06: ended"},
		},
	})
}

// TestWhatStepsAnswer: the reply names the turn that was made, or the load that
// something was said about.
func TestWhatStepsAnswer(t *testing.T) {
	started := both(called("anna"), power("w1", 300))
	shares := event(OfferShare{Machine: "w1", Person: "anna", Home: "home-anna", Hash: "h"})
	byHand := event(ByHand{Machine: "w1", On: true})
	onTable := event(Collect{Machine: "w1", OnTable: true})
	for _, c := range []struct {
		name string
		when func(*scene)
		do   Event
		want Reply
	}{
		{"join", called("anna"), Join{Person: "ben", Home: "home-ben", Need: queue.Wash}, Reply{Turn: 2}},
		{"leave", called("anna"), Leave{Turn: 1, Person: "anna"}, Reply{}},
		{"claim", power("w1", 300), Claim{Machine: "w1", Person: "ben", Home: "home-ben"}, Reply{Load: 1}},
		{"claim what is one's own", started, Claim{Machine: "w1", Person: "sister", Home: "home-anna"}, Reply{Load: 1}},
		{"collect", washes, Collect{Machine: "w1"}, Reply{Load: 1}},
		{"more time", washes, MoreTime{Machine: "w1", Person: "anna"}, Reply{Load: 1}},
		{"dry after", started, DryAfter{Machine: "w1", Person: "anna", Home: "home-anna"}, Reply{Turn: 2, Load: 1}},
		{"offer to share", started, OfferShare{Machine: "w1", Person: "anna", Hash: "h"}, Reply{Load: 1}},
		{"share", both(started, shares), ShareLoad{Hash: "h", Person: "ben", Home: "home-ben"}, Reply{Load: 1}},
		{"still inside", both(washes, event(Collect{Machine: "w1"})), StillInside{Machine: "w1", Person: "anna"}, Reply{Load: 1}},
		{"fetched", both(washes, onTable), Fetched{Load: 1, Person: "anna"}, Reply{Load: 1}},
		{"start by hand", byHand, StartByHand{Machine: "w1"}, Reply{Load: 1}},
		{"nothing", nil, Tick{}, Reply{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, nil)
			if c.when != nil {
				c.when(s)
			}
			if got := s.do(c.do); got != c.want {
				t.Errorf("the reply is %+v, want %+v", got, c.want)
			}
		})
	}
}
