package coordinator

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// calmEngine is a plain engine that never falls silent, so that every deadline is the room's.
type calmEngine struct{ plainEngine }

func (calmEngine) Next() time.Time { return time.Time{} }

// calmScene is a room of such machines, in which no reading comes by itself.
func calmScene(t *testing.T, change func(*Plan)) *scene {
	t.Helper()
	plan := testPlan()
	if change != nil {
		change(&plan)
	}
	s := &scene{T: t, room: NewRoom(plan, func(cycle.Settings) cycle.Engine { return &calmEngine{} }), now: noon, unsent: map[string]Notice{}}
	s.idle()
	return s
}

// sleep lets time pass until the next deadline, again and again, up to an instant.
func (s *scene) sleep(d time.Duration) { silence(d)(s) }

// TestDeadlines: when a room must be woken next, counted from the last thing that
// happened; 0 for never. A room that is woken too late tells people too late.
func TestDeadlines(t *testing.T) {
	start := func(id MachineID) func(*scene) { return power(id, 300) }
	wash := both(called("anna"), start("w1"), func(s *scene) { s.sleep(time.Hour) }, power("w1", 1))
	sleep := func(d time.Duration) func(*scene) { return func(s *scene) { s.sleep(d) } }
	fullHouse := both(start("w1"), start("w2"))
	closes := func(p *Plan) {
		for i := range p.Seed.Hours {
			p.Seed.Hours[i] = queue.Day{Opens: 8 * 60, LastStart: 20 * 60, EndedBy: queue.NoClock}
		}
	}
	for _, c := range []struct {
		name string
		plan func(*Plan)
		when func(*scene)
		want time.Duration
	}{
		{"nothing is to come", nil, nil, 0},
		{"the end of a hold", nil, called("anna"), 10 * time.Minute},
		{"the earlier of two holds", nil, both(called("anna"), sleep(4*time.Minute), called("ben")), 6 * time.Minute},
		{"a walk-up that nobody minds", nil, start("w1"), 0},
		{"a walk-up out of turn: until when it may be claimed", oneWasher, both(start("w1"), called("ben"), sleep(time.Hour), power("w1", 1), sleep(time.Minute), start("w1")), 15 * time.Minute},
		{"the first step of the ladder", nil, wash, 10 * time.Minute},
		{"the second", nil, both(wash, sleep(10*time.Minute)), 5 * time.Minute},
		{"the third", nil, both(wash, sleep(15*time.Minute)), 15 * time.Minute},
		{"the call of others", nil, both(wash, sleep(30*time.Minute)), 15 * time.Minute},
		{"thought to be gone", nil, both(wash, sleep(45*time.Minute)), 2*time.Hour + 15*time.Minute},
		{"forgotten", nil, both(wash, sleep(3*time.Hour)), 21 * time.Hour},
		{"forgotten and told of", nil, both(wash, sleep(24*time.Hour)), 0},
		{"never thought to be gone while somebody waits", oneWasher, both(wash, sleep(45*time.Minute), called("ben"), sleep(10*time.Minute)), 10 * time.Minute},
		{"the end of the time that was asked for", nil, both(wash, sleep(34*time.Minute), event(MoreTime{Machine: "w1", Person: "anna"})), 10 * time.Minute},
		{"that time, in a house with a short one", func(p *Plan) { p.Seed.MoreTime = 3 * time.Minute }, both(wash, event(MoreTime{Machine: "w1", Person: "anna"})), 3 * time.Minute},
		{"the dryer behind a wash that stopped early", func(p *Plan) { p.Seed.Ladder = nil }, both(dryAfter, start("w1"), sleep(8*time.Minute), power("w1", 1)), 10 * time.Minute},
		{"the dryer ahead of the end", nil, both(dryAfter, start("w1"), sleep(7*time.Minute)), 50*time.Minute + time.Second},
		{"a load on the table: forgotten", nil, both(wash, event(Collect{Machine: "w1", OnTable: true})), 24 * time.Hour},
		{"a load on the table: gone", nil, both(wash, event(Collect{Machine: "w1", OnTable: true}), sleep(24*time.Hour)), 6 * 24 * time.Hour},
		{"the end of a cycle by hand", nil, both(event(ByHand{Machine: "w1", On: true}), event(StartByHand{Machine: "w1"}), sleep(5*time.Minute)), 70 * time.Minute},
		{"not now", nil, both(fullHouse, called("anna"), event(NotNow{Turn: 1, Person: "anna", Until: noon.Add(40 * time.Minute)})), 40 * time.Minute},
		{"the second call after a miss", oneWasher, both(called("anna"), sleep(10*time.Minute)), 10 * time.Minute},
		{"the room closes: the next opening", closes, both(fullHouse, called("anna"), sleep(time.Hour)), 19 * time.Hour},
		{"the room closes: who leaves then", closes, both(fullHouse, func(s *scene) { s.joinAndLeave("anna") }, sleep(time.Hour)), 7*time.Hour + 1},
		{"a called turn does not wait for the morning", closes, both(called("anna"), sleep(time.Minute)), 9 * time.Minute},
		{"the supply is away for too long", nil, both(sleep(time.Minute), power("w1", 0), power("w2", 0), power("d3", 0), sleep(2*time.Minute),
			power("w1", 0), called("anna")), 28 * time.Minute},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := calmScene(t, c.plan)
			if c.when != nil {
				c.when(s)
			}
			due := s.room.Deadline()
			if c.want == 0 && due.IsZero() {
				return
			}
			if got := due.Sub(s.now); got.Round(time.Second/2) != c.want.Round(time.Second/2) {
				t.Errorf("the next deadline is in %s (%s), want %s", got, due.Format("15:04:05.000"), c.want)
			}
		})
	}
}

// TestSilenceAfterARestart: a meter that is silent after a restart is told of once
// the meters have had time to be heard again.
func TestSilenceAfterARestart(t *testing.T) {
	s := newScene(t, oneWasher)
	s.reopen(5 * time.Minute)
	quiet := s.now.Add(10 * time.Minute)
	s.now = s.now.Add(5 * time.Minute)
	s.do(Tick{})
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Status != Unknown || !v.Since.Equal(noon) {
		t.Fatalf("the machine is %s since %s, want unknown since noon", v.Status, v.Since)
	}
	s.wantTold(MeterSilent)
	if due := s.room.Deadline(); !due.Equal(quiet) {
		t.Errorf("the next deadline is %s, want %s", due, quiet)
	}
	s.do(ByHand{Machine: "w1", On: true})
	if due := s.room.Deadline(); !due.IsZero() {
		t.Errorf("run by hand it is still due at %s", due)
	}
	s.do(ByHand{Machine: "w1"})
	s.do(TakeOut{Machine: "w1"})
	if due := s.room.Deadline(); !due.IsZero() {
		t.Errorf("out of service it is still due at %s", due)
	}
	s.do(PutBack{Machine: "w1"})
	s.now = quiet
	s.do(Tick{})
	s.wantTold(MeterSilent, "managers")
	if due := s.room.Deadline(); !due.IsZero() {
		t.Errorf("told of, it is still due at %s", due)
	}
}
