package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// TestWhatTurnsLeave: joining, being called, coming, not coming, and leaving.
func TestWhatTurnsLeave(t *testing.T) {
	three := called("anna", "ben", "cleo")
	checkLeaves(t, []leaves{
		{
			name: "joining an empty room calls at once",
			do:   called("anna"),
			want: []string{
				"take back turn/1",
				"tell anna turn-called of turn/1, washer 1, until 12:10, for 10m",
				"log joined by anna of home-anna, turn 1: wash",
				"log called w1 by anna of home-anna, turn 1",
			},
		},
		{
			name: "joining while all are taken only waits",
			when: called("anna", "ben"), do: called("cleo"),
			want: []string{"log joined by cleo of home-cleo, turn 3: wash"},
		},
		{
			name: "a manager takes a turn for somebody",
			when: three,
			do:   event(Join{Person: "dora", Home: "home-dora", Need: queue.Wash, By: "manager"}),
			want: []string{
				"log joined by dora of home-dora, turn 4: wash",
				"log joined-for by manager of home-dora, turn 4",
			},
		},
		{
			name: "leaving a call lets the next be called",
			when: both(three, pass(4*time.Minute)), do: event(Leave{Turn: 1, Person: "anna"}),
			want: []string{
				"take back turn/1", "take back turn/3",
				"tell cleo turn-called of turn/3, washer 1, until 12:14, for 10m",
				"log left by anna of home-anna, turn 1",
				"log called w1 by cleo of home-cleo, turn 3, waited 4m",
			},
		},
		{
			name: "on the way, where the house adds nothing",
			when: three, do: event(OnMyWay{Turn: 2, Person: "sister", Home: "home-ben"}),
			want: []string{"log on-way w2 by sister of home-ben, turn 2 to 12:10"},
		},
		{
			name: "on the way, where the house adds some minutes",
			plan: func(p *Plan) { p.Seed.OnMyWayAdds = 5 * time.Minute },
			when: both(called("anna"), pass(time.Minute)), do: event(OnMyWay{Turn: 1, Person: "anna", Home: "home-anna"}),
			want: []string{"log on-way w1 by anna of home-anna, turn 1 to 12:15"},
		},
		{
			name: "let the next one go first",
			when: both(three, pass(time.Minute)), do: event(LetNext{Turn: 2, Person: "ben", Home: "home-ben"}),
			want: []string{
				"take back turn/2", "take back turn/3",
				"tell cleo turn-called of turn/3, washer 2, until 12:11, for 10m",
				"log passed w2 by ben of home-ben, turn 2: let the next one go first",
				"log overtaken w2 by ben of home-ben, turn 2 after 3 let-next",
				"log called w2 by cleo of home-cleo, turn 3, waited 1m",
			},
		},
		{
			name: "not now",
			when: both(three, pass(time.Minute)),
			do: func(s *scene) {
				s.do(NotNow{Turn: 1, Person: "anna", Home: "home-anna", Until: s.now.Add(time.Hour)})
			},
			want: []string{
				"take back turn/1", "take back turn/3",
				"tell cleo turn-called of turn/3, washer 1, until 12:11, for 10m",
				"log passed w1 by anna of home-anna, turn 1: not now",
				"log overtaken w1 by anna of home-anna, turn 1 after 3 not-now",
				"log called w1 by cleo of home-cleo, turn 3, waited 1m",
			},
		},
		{
			name: "a call that is missed",
			plan: oneWasher, when: called("anna", "ben"), do: pass(10 * time.Minute),
			want: []string{
				"take back turn/1", "take back turn/2",
				"tell anna turn-missed of turn/1, washer 1, for 2h",
				"tell ben turn-called of turn/2, washer 1, until 12:20, for 10m",
				"log missed w1 by anna of home-anna, turn 1, waited 10m",
				"log overtaken w1 by anna of home-anna, turn 1 after 2 missed-call",
				"log called w1 by ben of home-ben, turn 2, waited 10m",
			},
		},
		{
			name: "the second call that is missed",
			plan: oneWasher, when: both(called("anna"), pass(20*time.Minute)), do: pass(10 * time.Minute),
			want: []string{
				"take back turn/1",
				"tell anna turn-ended of turn/1, washer 1, for 2h",
				"log missed w1 by anna of home-anna, turn 1, waited 30m",
			},
		},
		{
			name: "somebody moves out",
			plan: oneWasher, when: called("anna", "ben"), do: event(MovedOut{Home: "home-anna"}),
			want: []string{
				"take back turn/1", "take back turn/2",
				"tell ben turn-called of turn/2, washer 1, until 12:10, for 10m",
				"log left, turn 1: moved out",
				"log called w1 by ben of home-ben, turn 2",
			},
		},
		{
			name: "somebody is blocked",
			plan: oneWasher, when: called("anna", "ben"), do: event(MovedOut{Person: "ben", TurnsOnly: true}),
			want: []string{"take back turn/2", "log left by ben of home-ben, turn 2: blocked"},
		},
	})
}

// TestWhatClosingLeaves: the choice of who does not want to wait for the morning,
// and what comes of it.
func TestWhatClosingLeaves(t *testing.T) {
	closes := func(p *Plan) {
		oneWasher(p)
		for i := range p.Seed.Hours {
			p.Seed.Hours[i] = queue.Day{Opens: 7 * 60, LastStart: 13 * 60, EndedBy: queue.NoClock}
		}
	}
	busy := both(power("w1", 300), func(s *scene) { s.joinAndLeave("ben") })
	checkLeaves(t, []leaves{
		{
			name: "it leaves at closing", plan: closes, when: both(power("w1", 300), called("ben")),
			do:   event(AtClosing{Turn: 1, Person: "ben", Home: "home-ben", Leave: true}),
			want: []string{"log chose by ben of home-ben, turn 1: leaves at closing"},
		},
		{
			name: "it waits for the morning", plan: closes, when: busy,
			do:   event(AtClosing{Turn: 1, Person: "sister", Home: "home-ben"}),
			want: []string{"log chose by ben of home-ben, turn 1: waits for the morning"},
		},
		{
			name: "the room closes", plan: closes, when: busy, do: pass(time.Hour + time.Second),
			want: []string{
				"take back turn/1",
				"tell ben turn-closed of turn/1, for 12h",
				"log left by ben of home-ben, turn 1, waited 1h: closing",
			},
		},
	})
}

// TestWhatADryerBehindLeaves: the dryer that follows a wash by itself.
func TestWhatADryerBehindLeaves(t *testing.T) {
	dryAfter := func(s *scene) {
		s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
		s.watts("w1", 300)
	}
	checkLeaves(t, []leaves{
		{
			name: "the start books it", when: func(s *scene) {
				s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
			},
			do: power("w1", 300),
			want: []string{
				"take back turn/1",
				"tell anna load-begun of load/1, washer 1, until 13:00, for 15m",
				"log started w1 by anna of home-anna, turn 1, load 1, cycle 1, from 12:00",
				"log joined by anna of home-anna, turn 2: dry",
			},
		},
		{
			name: "it is called ahead of the end", when: both(dryAfter, pass(56*time.Minute)), do: pass(2 * time.Minute),
			want: []string{
				"take back turn/2",
				"tell anna turn-called of turn/2, dryer 3, until 13:10, ready 13:00, wash-ends, for 13m",
				"log called d3 by anna of home-anna, turn 2, waited 57m: wash-ends",
			},
		},
		{
			name: "the wash takes longer than thought", when: both(dryAfter, pass(60*time.Minute)), do: pass(11 * time.Minute),
			want: []string{
				"take back turn/2",
				"tell anna turn-returned of turn/2, dryer 3, wash-ends, for 1h",
				"log taken-back d3 by anna of home-anna, turn 2: wash takes longer",
			},
		},
		{
			name: "the start was somebody else's", when: both(dryAfter, pass(time.Minute)),
			do: event(NotMe{Machine: "w1", Person: "anna", Home: "home-anna"}),
			want: []string{
				"take back load/1", "take back turn/2", "take back turn/1",
				"tell anna turn-called of turn/1, washer 2, until 12:11, for 10m",
				"log not-mine w1 by anna of home-anna, turn 1, load 1",
				"log left by anna of home-anna, turn 2: wash taken back",
				"log overtook w1, load 1, cycle 1: allowed", // by whoever did start it
				"log called w2 by anna of home-anna, turn 1, waited 1m",
			},
		},
		{
			name: "it is booked while the wash runs", when: both(called("anna"), power("w1", 300), pass(time.Minute)),
			do:   event(DryAfter{Machine: "w1", Person: "sister", Home: "home-anna"}),
			want: []string{"log joined by anna of home-anna, turn 2: dry"},
		},
	})
}
