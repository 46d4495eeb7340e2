package coordinator

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

// fairness watches a room and names, for each turn that was called while one
// that had joined earlier still waits, the written rule that let it go first.
type fairness struct {
	*scene
	rt        *rapid.T
	factsSeen int
	toldSeen  int
	missed    map[TurnID]int
	let       map[TurnID]bool // let the next one go first
	back      map[TurnID]bool // its call was taken back: at the head without blame
	needs     map[TurnID]string
	passed    map[TurnID]map[TurnID]bool // by whom of the same kind, after a miss
	rules     map[string]int
	stored    map[[2]TurnID]queue.Overtaking // why whom was called before whom, as the facts just before the call say
	reasons   map[queue.Overtaking]int
}

// mixedRoom has machines that not everybody can use, a limit that bites, and a
// last start. That holds for all needs alike, so it lets nobody go first.
func mixedRoom(p *Plan) {
	both := p.Machines[2]
	both.ID, both.Number, both.Kind = "b4", 4, queue.WasherDryer
	p.Machines = append(p.Machines, both)
	p.Machines[0].CapacityKg = 6
	p.Machines[1].CapacityKg, p.Machines[1].Accessible = 8, true
	p.Machines[2].ReservedFor = []HomeID{"home-anna", "home-ben"}
	p.Seed.Limits = queue.Limits{TurnsPerHome: 3, LoadsPerHome: 1}
	for i := range p.Seed.Hours {
		p.Seed.Hours[i] = queue.Day{Opens: 7 * 60, LastStart: 20 * 60, EndedBy: queue.NoClock}
	}
}

// check judges every call since the last one.
func (f *fairness) check() {
	for ; f.toldSeen < len(f.notices); f.toldSeen++ {
		if n := f.notices[f.toldSeen]; n.Kind == TurnReturned {
			f.back[n.Subject.Turn] = true
		}
	}
	for ; f.factsSeen < len(f.facts); f.factsSeen++ {
		switch fact := f.facts[f.factsSeen]; fact.Kind {
		case FactJoined:
			f.needs[fact.Turn] = fact.Note
		case FactMissed:
			f.missed[fact.Turn]++
		case FactNotMine:
			f.back[fact.Turn] = true
		case FactPassed:
			f.let[fact.Turn] = f.let[fact.Turn] || fact.Note == "let the next one go first"
		case FactOvertaken:
			f.stored[[2]TurnID{fact.By, fact.Turn}] = fact.Why
		case FactCalled:
			f.judge(fact)
			clear(f.stored)
		}
	}
}

// judge looks at all who joined before the turn that was called and still wait.
func (f *fairness) judge(called Fact) {
	m := f.room.plan.Machines[f.room.index(called.Machine)].Machine
	for i := range f.room.state.Turns {
		t := &f.room.state.Turns[i]
		if t.ID >= called.Turn || t.State != queue.Waiting {
			continue
		}
		rule := f.ruleFor(t, &m, called.Turn)
		f.rules[rule]++
		f.isStored(rule, called.Turn, t.ID)
		switch rule {
		case "":
			f.rt.Fatalf("at %s turn %d was called to %s before %+v, by no rule", f.now.Format("15:04:05"), called.Turn, m.ID, *t)
		case "missed":
			if f.passed[t.ID] == nil {
				f.passed[t.ID] = map[TurnID]bool{}
			}
			if f.needs[called.Turn] == t.Need.String() {
				f.passed[t.ID][called.Turn] = true
			}
			// One place among its kind, and whoever goes while it may not be called again.
			if n := len(f.passed[t.ID]); n > 2*f.missed[t.ID] {
				f.rt.Fatalf("turn %d missed %d calls, and for it %d others of its kind went first", t.ID, f.missed[t.ID], n)
			}
		}
	}
}

// isStored wants the reason of an overtaking among the facts.
func (f *fairness) isStored(rule string, by, of TurnID) {
	why, ok := f.stored[[2]TurnID{by, of}]
	if rule == "kind" {
		if ok {
			f.rt.Fatalf("turn %d overtook %d, which waits for other work: %s", by, of, why)
		}
		return
	}
	// The rule is judged after the call, when its own home may be at the limit as
	// well; what can never change within a step must be what is stored.
	lasting := map[string]queue.Overtaking{"wish": queue.OverUnfit, "reserved": queue.OverReserved}
	want, only := lasting[rule]
	if !ok || !slices.Contains(queue.Overtakings(), why) || only && why != want {
		f.rt.Fatalf("turn %d overtook %d by the rule %q; %q is stored", by, of, rule, why)
	}
	f.reasons[why]++
}

// ruleFor names the rule by which a machine goes to a later turn; empty for none.
// It is written from the house rules, not from the code that calls.
func (f *fairness) ruleFor(t *queue.Turn, m *queue.Machine, later TurnID) string {
	switch {
	case t.Need == queue.Wash && m.Kind == queue.Dryer, t.Need == queue.Dry && m.Kind == queue.Washer,
		t.Need == queue.WashAndDry && m.Kind != queue.WasherDryer:
		return "kind"
	case t.Wishes.Accessible && !m.Accessible, m.CapacityKg > 0 && m.CapacityKg < t.Wishes.MinKg:
		return "wish"
	case len(m.ReservedFor) > 0 && !slices.Contains(m.ReservedFor, t.Home):
		return "reserved"
	case t.NotBefore.After(f.now):
		return "not now"
	case t.Behind != 0:
		return "wash not ready"
	case f.using(t.Home) >= f.room.state.Rules.Limits.LoadsPerHome:
		return "limit"
	case f.back[later]:
		return "call taken back"
	case f.let[t.ID]:
		return "let next"
	case f.missed[t.ID] > 0:
		return "missed"
	}
	return ""
}

// using counts the loads and calls of a home; not those that others may be called
// to, or that may be gone.
func (f *fairness) using(home HomeID) int {
	n := 0
	for _, l := range f.room.state.Loads {
		left := l.Ready() && f.now.Sub(l.ToldAt.Add(l.Pause)) >= f.room.state.Rules.CallWithLoadAfter()
		if l.Home == home && !left && !l.AssumedEmpty {
			n++
		}
	}
	for _, t := range f.room.state.Turns {
		if t.Home == home && t.State == queue.Called {
			n++
		}
	}
	return n
}

// attempt steps an event, refused or not, and judges.
func (f *fairness) attempt(ev Event) {
	_, _ = f.try(ev)
	f.check()
}

func (f *fairness) power(id MachineID, w float64) {
	f.watts(id, w)
	f.check()
}

// pass lets minutes pass, the meters heard every five, and judges after each step.
func (f *fairness) pass(minutes int) {
	for end := f.now.Add(time.Duration(minutes) * time.Minute); f.now.Before(end); {
		next := f.now.Add(min(5*time.Minute, end.Sub(f.now)))
		for due := f.room.Deadline(); !due.IsZero() && !due.After(next); due = f.room.Deadline() {
			f.now = later(f.now, due)
			f.attempt(Tick{})
		}
		f.now = later(f.now, next)
		for i, m := range f.room.plan.Machines {
			f.power(m.ID, f.room.engines[i].Status().Last.Watts)
		}
	}
}

// TestNobodyIsOvertaken: first come, first served, except by the written rules.
func TestNobodyIsOvertaken(t *testing.T) {
	rules, kinds := map[string]int{}, map[queue.Overtaking]int{}
	rapid.Check(t, func(rt *rapid.T) {
		f := &fairness{
			scene: newScene(t, mixedRoom), rt: rt, rules: rules, stored: map[[2]TurnID]queue.Overtaking{}, reasons: kinds, missed: map[TurnID]int{}, let: map[TurnID]bool{},
			back: map[TurnID]bool{}, needs: map[TurnID]string{}, passed: map[TurnID]map[TurnID]bool{},
		}
		person := rapid.SampledFrom([]PersonID{"anna", "ben", "cleo", "dora", "emil"})
		machine := rapid.SampledFrom([]MachineID{"w1", "w2", "d3", "b4"})
		join := func(rt *rapid.T) {
			who := person.Draw(rt, "who")
			f.attempt(Join{
				Person: who, Home: "home-" + HomeID(who), Need: queue.Need(rapid.IntRange(1, 3).Draw(rt, "need")),
				DryAfter: rapid.Bool().Draw(rt, "dry after"),
				Wishes: queue.Wishes{
					Accessible: rapid.IntRange(0, 5).Draw(rt, "accessible") == 0,
					MinKg:      rapid.SampledFrom([]float64{0, 0, 0, 8}).Draw(rt, "size"),
				},
			})
		}
		act := func(rt *rapid.T) {
			if len(f.room.state.Turns) == 0 {
				return
			}
			u := rapid.SampledFrom(f.room.state.Turns).Draw(rt, "turn")
			f.attempt(rapid.SampledFrom([]Event{
				Leave{Turn: u.ID, Person: u.Person}, LetNext{Turn: u.ID, Person: u.Person},
				NotNow{Turn: u.ID, Person: u.Person, Until: f.now.Add(25 * time.Minute)},
				NotMe{Machine: u.Machine, Person: u.Person, Home: u.Home},
			}).Draw(rt, "act"))
		}
		rt.Repeat(map[string]func(*rapid.T){
			"join": join, "join too": join, "turn": act,
			"start":   func(rt *rapid.T) { f.power(machine.Draw(rt, "machine"), 300) },
			"end":     func(rt *rapid.T) { f.power(machine.Draw(rt, "machine"), 1) },
			"collect": func(rt *rapid.T) { f.attempt(Collect{Machine: machine.Draw(rt, "machine")}) },
			"out": func(rt *rapid.T) {
				m := machine.Draw(rt, "machine")
				f.attempt(TakeOut{Machine: m})
				f.pass(1)
				f.attempt(PutBack{Machine: m})
			},
			"pass":    func(rt *rapid.T) { f.pass(rapid.IntRange(1, 15).Draw(rt, "minutes")) },
			"an hour": func(*rapid.T) { f.pass(60) },
		})
	})
	t.Logf("who had joined earlier was passed by these rules: %v, stored as %v", rules, kinds)
	if !testing.Short() && (rules["kind"] == 0 || rules["limit"] == 0) { // a short run makes 20 short histories
		t.Error("the histories are too tame to show anything")
	}
}
