package coordinator

import (
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

func more(who string) MoreTime {
	return MoreTime{Machine: "w1", Person: PersonID(who), Home: HomeID("home-" + who)}
}

// doneFor is a washer whose load, anna's, was told as ready some time ago.
func doneFor(t *testing.T, ago time.Duration, change func(*Plan)) *scene {
	t.Helper()
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		if change != nil {
			change(p)
		}
	})
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.wait(ago)
	return s
}

// TestMoreTimeWithdraws: what is unsent of the ladder goes in the same change set,
// and nothing of it is told while the time lasts.
func TestMoreTimeWithdraws(t *testing.T) {
	s := doneFor(t, 10*time.Minute, nil)
	s.wantTold(LoadNudge, "anna")
	set, reply, err := s.room.Step(s.now, more("anna"))
	if err != nil || reply.Load != 1 || len(set.Withdraw) != 1 || set.Withdraw[0].Load != 1 || len(set.Notices) != 0 {
		t.Fatalf("load %d, withdrawn %+v, told %+v, %v", reply.Load, set.Withdraw, set.Notices, err)
	}
	s.take(set)
	if len(s.unsent) > 0 {
		for key, n := range s.unsent {
			if n.Subject.Load != 0 {
				t.Errorf("%s is still to be sent", key)
			}
		}
	}
	s.wait(10*time.Minute - time.Second)
	s.wantStatus("w1", Finished)
	s.wantTold(LoadNudge, "anna")
	s.wait(time.Second)
	s.wantTold(LoadNudge, "anna", "anna") // no step to come does it
	s.wait(20 * time.Minute)
	s.wantTold(LoadLeft, "managers") // twenty minutes later than without
}

func TestMoreTimeIsTheHomes(t *testing.T) {
	s := doneFor(t, time.Minute, nil)
	s.refused(more("ben"), "more.none")
	s.do(MoreTime{Machine: "w1", Person: "flatmate", Home: "home-anna"})
	s.refused(more("anna"), "more.once")
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.refused(more("anna"), "more.none")
}

func TestMoreTimeByTheHouse(t *testing.T) {
	for _, c := range []struct {
		name           string
		alone, waiting time.Duration
		waits          bool
		refused        string
		want           time.Duration
	}{
		{"alone", 10 * time.Minute, 0, false, "", 10 * time.Minute},
		{"waited for, not given", 10 * time.Minute, 0, true, "more.waited-for", 0},
		{"waited for, given", 10 * time.Minute, 4 * time.Minute, true, "", 4 * time.Minute},
		{"never", 0, 0, false, "more.never", 0},
		{"never, waited for", 0, 0, true, "more.never", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := doneFor(t, 2*time.Minute, func(p *Plan) { p.Seed.MoreTime, p.Seed.MoreTimeWaiting = c.alone, c.waiting })
			if c.waits {
				s.join("ben", queue.Wash)
			}
			if v := s.room.Snapshot(s.now).Machine("w1"); v.MoreTime != c.want {
				t.Errorf("the page offers %s, want %s", v.MoreTime, c.want)
			}
			if c.refused != "" {
				s.refused(more("anna"), c.refused)
				return
			}
			asked := s.now
			s.do(more("anna"))
			if v := s.room.Snapshot(s.now).Machine("w1"); v.Load.MoreUntil.Sub(asked) != c.want || v.MoreTime != 0 {
				t.Errorf("time until %s, and %s more", v.Load.MoreUntil, v.MoreTime)
			}
		})
	}
}

// TestMoreTimeOfTheSameHome: a flatmate's turn is nobody who waits.
func TestMoreTimeOfTheSameHome(t *testing.T) {
	s := doneFor(t, 2*time.Minute, nil)
	s.do(Join{Person: "flatmate", Home: "home-anna", Need: queue.Wash})
	s.do(more("anna"))
}

// TestMoreTimeKeepsTheNextAway: somebody who joins later is called when the time
// is over, not before, though the ladder had ended.
func TestMoreTimeKeepsTheNextAway(t *testing.T) {
	s := doneFor(t, time.Hour, nil)
	s.do(more("anna"))
	s.wait(2 * time.Minute)
	s.join("ben", queue.Wash)
	s.wait(7 * time.Minute)
	s.wantTold(TurnCalled, "anna")
	s.wait(time.Minute)
	s.wantTold(TurnCalled, "anna", "ben")
	s.refused(more("anna"), "more.once")
}

// TestMoreTimeOfALoadAssumedGone: the owner's word shows that it is inside.
func TestMoreTimeOfALoadAssumedGone(t *testing.T) {
	s := doneFor(t, 3*time.Hour, nil)
	s.wantStatus("w1", Free)
	s.do(more("anna"))
	s.wantStatus("w1", Finished)
	s.wait(10 * time.Minute)
	s.wantStatus("w1", Free)
}

// TestMoreTimeOverARestart: what lapsed while the program was down begins anew, once.
func TestMoreTimeOverARestart(t *testing.T) {
	s := doneFor(t, 2*time.Minute, nil)
	s.do(more("anna"))
	s.reopen(30 * time.Minute)
	s.idle()
	s.wantStatus("w1", Finished)
	if until := s.room.load(1).MoreUntil; until.Sub(s.now).Round(time.Second) != 10*time.Minute {
		t.Fatalf("reopened at %s with time until %s, want ten minutes", s.now, until)
	}
}

// TestMoreTimeAndPowerCut: the time asked for stands still with the ladder.
func TestMoreTimeAndPowerCut(t *testing.T) {
	s := twoAtWork(t, nil)
	s.wait(20 * time.Minute)
	s.watts("d3", 300)
	s.do(Claim{Machine: "d3", Person: "cleo", Home: "home-cleo"})
	s.wait(30 * time.Minute)
	s.watts("d3", 1)
	s.do(MoreTime{Machine: "d3", Person: "cleo", Home: "home-cleo"})
	left := s.room.Snapshot(s.now).Machine("d3").Load.MoreUntil.Sub(s.now)
	s.wait(4 * time.Minute)
	s.cut(time.Second, "w1", "w2")
	s.wait(15 * time.Minute)
	s.watts("w1", 300)
	s.watts("w2", 300)
	got := s.room.Snapshot(s.now).Machine("d3").Load.MoreUntil.Sub(s.now)
	if (left - 4*time.Minute - got).Abs() > 3*time.Second {
		t.Fatalf("%s were left of ten minutes, want %s", got, left-4*time.Minute)
	}
}

// TestMoreTimeAgainForTheNextLoad: once for a load, not for a machine; and a load
// that is run again may have more again.
func TestMoreTimeAgainForTheNextLoad(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash)
	s.cycle("w1", 4*time.Minute)
	s.do(more("anna"))
	s.cycle("w1", time.Hour)
	s.do(more("anna"))
	if l := s.room.load(1); l == nil || l.Cycle != 2 {
		t.Fatalf("load 1 is %+v, want it in cycle 2", l)
	}
}

func TestMannerWords(t *testing.T) {
	for m, word := range map[Manner]string{Allowed: "allowed", Tolerated: "tolerated", Reported: "reported"} {
		var back Manner
		if err := back.UnmarshalText([]byte(word)); err != nil || back != m || m.String() != word {
			t.Errorf("%d is %q and reads back as %d (%v)", m, m, back, err)
		}
	}
	kept := Reported
	err := kept.UnmarshalText([]byte("fined"))
	if err == nil || !strings.Contains(err.Error(), "allowed, tolerated or reported") || kept != Reported || Manner(9).String() != "" {
		t.Errorf("fined: %v, and the manner is %s", err, kept)
	}
}

// TestRulesStoredBeforeTheirTime: a room stored before a rule was thought of takes
// it from the building file, and keeps what it has of the others.
func TestRulesStoredBeforeTheirTime(t *testing.T) {
	plan := testPlan()
	plan.Seed.MoreTime, plan.Seed.MoreTimeWaiting, plan.Seed.WalkUps = 20*time.Minute, 5*time.Minute, Reported
	old := `{"Now":"2026-06-10T12:00:00Z","Rules":{"Hold":300000000000,"Grace":600000000000,"Ladder":[{"After":600000000000,"Tell":"owner"}]},
		"Machines":[{"ID":"w1","Since":"2026-06-10T11:00:00Z","Cycle":3,"Load":2}],
		"Loads":[{"ID":2,"Machine":"w1","Cycle":3,"Owner":"anna","Home":"home-anna","StartedAt":"2026-06-10T10:00:00Z",
			"ReadyAt":"2026-06-10T11:00:00Z","ToldAt":"2026-06-10T11:00:00Z","Reason":"done","Round":1}],"LastLoad":2}`
	room, err := Restore(plan, Stored{Seq: 5, Rows: []Row{{Table: "room", Key: "state", Value: []byte(old)}}}, newPlain)
	if err != nil {
		t.Fatal(err)
	}
	r := room.Snapshot(noon).Rules
	if r.Hold != 5*time.Minute || len(r.Ladder) != 1 || r.MoreTime != 20*time.Minute || r.MoreTimeWaiting != 5*time.Minute || r.WalkUps != Reported {
		t.Fatalf("the rules are %+v", r)
	}
	if l := room.load(2); l == nil || l.Past != 0 || !l.MoreUntil.IsZero() || l.Forgotten {
		t.Fatalf("the load is %+v", l)
	}
}
