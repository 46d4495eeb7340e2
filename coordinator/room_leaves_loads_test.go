package coordinator

import (
	"testing"
	"time"
)

// TestWhatCyclesLeave: starts, ends, and what is thought of them later.
func TestWhatCyclesLeave(t *testing.T) {
	checkLeaves(t, []leaves{
		{
			name: "who was called starts", when: both(called("anna"), pass(2*time.Minute)), do: power("w1", 300),
			want: []string{
				"take back turn/1",
				"tell anna load-begun of load/1, washer 1, until 13:02, for 15m",
				"log started w1 by anna of home-anna, turn 1, load 1, cycle 1, from 12:02",
			},
		},
		{
			name: "somebody starts who was not called", when: pass(2 * time.Minute), do: power("w1", 300),
			want: []string{"log walk-up w1, load 1, cycle 1, from 12:02"},
		},
		{
			name: "somebody starts out of turn", plan: oneWasher,
			when: both(power("w1", 300), called("ben"), pass(time.Hour), power("w1", 1), pass(time.Minute)),
			do:   power("w1", 300),
			want: []string{
				"take back load/1",
				"log collected w1, load 1, cycle 1, from 12:00 to 13:00, waited 1m: next start",
				"log walk-up w1, load 2, cycle 2, from 13:01",
				"log overtook w1, load 2, cycle 2: allowed",
			},
		},
		{
			name: "the end", when: both(called("anna"), power("w1", 300), pass(time.Hour)), do: power("w1", 1),
			want: []string{
				"take back load/1",
				"tell anna load-ready of load/1, washer 1, ready 13:00, 10m more if asked, done, for 2h",
				"log cycle w1, load 1, cycle 1, from 12:00 to 13:00, 500 Wh, 2000 W: finished",
			},
		},
		{
			name: "an end soon after the start", when: both(called("anna"), power("w1", 300), pass(6*time.Minute)), do: power("w1", 1),
			want: []string{
				"take back load/1",
				"tell anna load-ready of load/1, washer 1, ready 12:06, 10m more if asked, stopped-early, for 2h",
				"log cycle w1, load 1, cycle 1, from 12:00 to 12:06, 500 Wh, 2000 W: stopped_early",
			},
		},
		{
			name: "it is started again after that", when: both(called("anna"), power("w1", 300), pass(6*time.Minute), power("w1", 1), pass(time.Minute)),
			do:   power("w1", 300),
			want: []string{"take back load/1"},
		},
	})
}

// TestWhatOwnersLeave: what people say of loads: mine, not mine, taken, still there.
func TestWhatOwnersLeave(t *testing.T) {
	collected := both(washes, pass(5*time.Minute), event(Collect{Machine: "w1", Person: "ben", Home: "home-ben"}), pass(time.Minute))
	checkLeaves(t, []leaves{
		{
			name: "a running load is claimed", when: both(power("w1", 300), pass(time.Minute)),
			do:   event(Claim{Machine: "w1", Person: "ben", Home: "home-ben"}),
			want: []string{"log claimed w1 by ben of home-ben, load 1, cycle 1"},
		},
		{
			name: "a load is claimed that is done", when: func(s *scene) { s.cycle("w1", time.Hour) },
			do: event(Claim{Machine: "w1", Person: "ben", Home: "home-ben"}),
			want: []string{
				"tell ben load-ready of load/1, washer 1, ready 13:00, 10m more if asked, done, for 2h",
				"log claimed w1 by ben of home-ben, load 1, cycle 1",
			},
		},
		{
			name: "who claims uses up their turn", plan: oneWasher, when: both(power("w1", 300), called("ben")),
			do: event(Claim{Machine: "w1", Person: "ben", Home: "home-ben"}),
			want: []string{
				"take back turn/1",
				"log claimed w1 by ben of home-ben, load 1, cycle 1",
			},
		},
		{
			name: "the owner takes it out", when: both(washes, pass(5*time.Minute)),
			do: event(Collect{Machine: "w1", Person: "anna", Home: "home-anna"}),
			want: []string{
				"take back load/1",
				"log collected w1 by anna of home-anna, turn 1, load 1, cycle 1, from 12:00 to 13:00, waited 5m: owner",
			},
		},
		{
			name: "their home takes it out", when: both(washes, pass(5*time.Minute)),
			do: event(Collect{Machine: "w1", Person: "sister", Home: "home-anna"}),
			want: []string{
				"take back load/1",
				"log collected w1 by sister of home-anna, turn 1, load 1, cycle 1, from 12:00 to 13:00, waited 5m: owner",
			},
		},
		{
			name: "a neighbour sees the drum empty", when: both(washes, pass(5*time.Minute)),
			do: event(Collect{Machine: "w1", Person: "ben", Home: "home-ben"}),
			want: []string{
				"take back load/1",
				"tell anna load-taken of load/1, washer 1, ready 13:00, for 12h",
				"log collected w1 by ben of home-ben, turn 1, load 1, cycle 1, from 12:00 to 13:00, waited 5m: reported empty",
			},
		},
		{
			name: "a neighbour puts it on the table", when: both(washes, pass(5*time.Minute)),
			do: event(Collect{Machine: "w1", Person: "ben", Home: "home-ben", OnTable: true}),
			want: []string{
				"take back load/1",
				"tell anna load-moved of load/1, washer 1, ready 13:00, for 12h",
				"log collected w1 by ben of home-ben, turn 1, load 1, cycle 1, from 12:00 to 13:00, waited 5m: on the table",
			},
		},
		{
			name: "the owner fetches it from the table",
			when: both(washes, event(Collect{Machine: "w1", OnTable: true}), pass(20*time.Minute)),
			do:   event(Fetched{Load: 1, Person: "anna", Home: "home-anna"}),
			want: []string{"take back load/1", "log fetched w1 by anna of home-anna, load 1, waited 20m"},
		},
		{
			name: "the door opens", when: both(washes, pass(5*time.Minute)), do: event(Door{Machine: "w1", Open: true}),
			want: []string{
				"take back load/1",
				"log collected w1, turn 1, load 1, cycle 1, from 12:00 to 13:00, waited 5m: door",
			},
		},
		{
			name: "the owner contradicts", when: collected, do: event(StillInside{Machine: "w1", Person: "anna", Home: "home-anna"}),
			want: []string{"log still-in w1 by anna of home-anna, load 1"},
		},
		{
			name: "more time", when: both(washes, pass(5*time.Minute)),
			do:   event(MoreTime{Machine: "w1", Person: "sister", Home: "home-anna"}),
			want: []string{"take back load/1", "log more-time w1 by sister of home-anna, load 1, cycle 1 to 13:15"},
		},
		{
			name: "a neighbour shares it", when: both(called("anna"), power("w1", 300), event(OfferShare{Machine: "w1", Person: "anna", Home: "home-anna", Hash: "h"})),
			do:   event(ShareLoad{Hash: "h", Person: "ben", Home: "home-ben"}),
			want: []string{"log shared w1 by ben of home-ben, load 1"},
		},
		{
			name: "a neighbour shares it that is done", when: both(washes, event(OfferShare{Machine: "w1", Person: "anna", Home: "home-anna", Hash: "h"})),
			do: event(ShareLoad{Hash: "h", Person: "ben", Home: "home-ben"}),
			want: []string{
				"tell ben load-ready of load/1, washer 1, ready 13:00, done, for 2h",
				"log shared w1 by ben of home-ben, load 1",
			},
		},
		{
			name: "a short test run is taken out", when: both(called("anna"), power("w1", 300), pass(3*time.Minute), power("w1", 1)),
			do: event(Collect{Machine: "w1", Person: "anna", Home: "home-anna"}),
			want: []string{
				"take back load/1", "take back turn/1",
				"tell anna turn-called of turn/1, washer 1, until 12:13, for 10m",
				"log test-run w1 by anna of home-anna, turn 1, load 1",
				"log collected w1 by anna of home-anna, turn 1, load 1, cycle 1, from 12:00 to 12:03: owner",
				"log called w1 by anna of home-anna, turn 1, waited 3m",
			},
		},
	})
}

// TestWhatTheLadderLeaves: what a load leaves that nobody takes out.
func TestWhatTheLadderLeaves(t *testing.T) {
	checkLeaves(t, []leaves{
		{
			name: "its owner is told once more", when: washes, do: pass(10 * time.Minute),
			want: []string{
				"tell anna load-nudge of load/1, washer 1, ready 13:00, 10m more if asked, done, for 30m",
				"log nudged w1 by anna, load 1, cycle 1: step 1: owner",
			},
		},
		{
			name: "with nobody waiting the next is nobody", when: both(washes, pass(10*time.Minute)), do: pass(5 * time.Minute),
			want: []string{"log nudged w1, load 1, cycle 1: step 2: next"},
		},
		{
			name: "who is next is told", plan: oneWasher, when: both(called("anna", "ben"), func(s *scene) { s.cycle("w1", time.Hour) }, pass(10*time.Minute)),
			do: pass(5 * time.Minute),
			want: []string{
				"tell ben load-waiting of load/1, washer 1, ready 13:00, done, for 30m",
				"log nudged w1 by ben, load 1, cycle 1: step 2: next",
			},
		},
		{
			name: "the managers are told", when: both(washes, pass(15*time.Minute)), do: pass(15 * time.Minute),
			want: []string{
				"tell managers load-left of load/1, washer 1, ready 13:00, done, for 12h",
				"log nudged w1, load 1, cycle 1: step 3: manager",
			},
		},
		{
			name: "it is thought to be gone", when: both(washes, pass(time.Hour)), do: pass(2*time.Hour + time.Second),
			want: []string{"log assumed-empty w1, load 1"},
		},
		{
			name: "it is forgotten", when: both(washes, pass(4*time.Hour)), do: pass(20*time.Hour + time.Second),
			want: []string{
				"tell managers load-left of load/1, washer 1, ready 13:00, done, for 1d",
				"log forgotten w1 by anna of home-anna, load 1, cycle 1, waited 1d",
			},
		},
		{
			name: "it is forgotten on the table",
			when: both(washes, event(Collect{Machine: "w1", OnTable: true}), pass(time.Hour)), do: pass(23*time.Hour + time.Second),
			want: []string{
				"tell managers load-left of load/1, washer 1, ready 13:00, table, for 1d",
				"log forgotten w1 by anna of home-anna, load 1, waited 1d: on the table",
			},
		},
		{
			name: "after a week it is not there any more",
			when: both(washes, event(Collect{Machine: "w1", OnTable: true}), pass(25*time.Hour)), do: pass(6 * 24 * time.Hour),
			want: []string{"take back load/1", "log fetched w1, load 1, waited 7d: nobody said so"},
		},
		{
			name: "a manager takes away what was forgotten there",
			when: both(washes, event(Collect{Machine: "w1", OnTable: true}), pass(25*time.Hour)),
			do:   event(Fetched{Person: "manager", Manager: true, Forgotten: true}),
			want: []string{"take back load/1", "log fetched w1 by manager, load 1, waited 1d1h"},
		},
		{
			name: "the time that was asked for is over, and no other step tells so",
			when: both(washes, pass(12*time.Minute), event(MoreTime{Machine: "w1", Person: "anna", Home: "home-anna"})), do: pass(10*time.Minute + time.Second),
			want: []string{"tell anna load-nudge of load/1, washer 1, ready 13:00, done, for 30m"},
		},
	})
}

// TestWhatWalkUpsLeave: a start out of turn, in a house that wants to know.
func TestWhatWalkUpsLeave(t *testing.T) {
	reported := func(p *Plan) { oneWasher(p); p.Seed.WalkUps = Reported }
	past := both(power("w1", 300), called("ben"), pass(time.Hour), power("w1", 1), pass(time.Minute), power("w1", 300))
	checkLeaves(t, []leaves{
		{
			name: "both are told once it is too late for “not me”", plan: reported, when: past, do: pass(15*time.Minute + time.Second),
			want: []string{
				"tell ben turn-passed of turn/1, washer 1, for 1h",
				"tell managers walk-up-told of load/2, washer 1, for 1d",
			},
		},
		{
			name: "a manager has seen it", plan: reported, when: past, do: event(NoteWalkUp{Machine: "w1", Person: "manager"}),
			want: []string{"log seen w1 by manager, load 2"},
		},
		{
			name: "seen twice is seen once", plan: reported, when: both(past, event(NoteWalkUp{Machine: "w1", Person: "manager"})),
			do: event(NoteWalkUp{Machine: "w1", Person: "other"}), want: []string{},
		},
	})
}
