package coordinator

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

// fairness watches a room and works out, for each turn that is called, whom it
// overtakes and by which written rule; the facts must say exactly that.
type fairness struct {
	*scene
	rt        *rapid.T
	factsSeen int
	paper     paper
	ahead     map[TurnID]bool // its last call was ahead of its wash's end
	stored    []string        // who was called before whom, and why, as the facts just before a call say
	reasons   map[queue.Overtaking]int
}

// paper is the queue as somebody keeps it on paper who hears only what happens: it
// shares no line of code with the queue.
type paper struct {
	turns []*paperTurn // in their order; those that are over are gone
	// calls counts the machines that are held for each home.
	calls map[HomeID]int
}

type paperTurn struct {
	id       TurnID
	home     HomeID
	need     string
	waits    bool
	misses   int
	recall   time.Time
	returned bool
	early    bool // called ahead once
	lets     []paperWay
}

type paperWay struct {
	to  *paperTurn
	why queue.Overtaking
}

func (p *paper) find(id TurnID) *paperTurn {
	for _, t := range p.turns {
		if t.id == id {
			return t
		}
	}
	return nil
}

// before is who waits for the same as t, t among them, in the order in which they go.
func (p *paper) order(t *paperTurn) []*paperTurn {
	var left, order []*paperTurn
	for _, u := range p.turns {
		if u == t || u.waits && u.need == t.need {
			left = append(left, u)
		}
	}
	for len(left) > 0 {
		i := slices.IndexFunc(left, func(u *paperTurn) bool {
			return !slices.ContainsFunc(u.lets, func(w paperWay) bool { return slices.Contains(left, w.to) })
		})
		order, left = append(order, left[i]), slices.Delete(slices.Clone(left), i, i+1)
	}
	return order
}

// lets writes down that u goes before t: either t lets it, or u no longer lets t.
func (p *paper) pass(t, u *paperTurn, why queue.Overtaking) {
	if slices.Index(p.turns, u) < slices.Index(p.turns, t) {
		u.lets = slices.DeleteFunc(u.lets, func(w paperWay) bool { return w.to == t })
	} else if !slices.ContainsFunc(t.lets, func(w paperWay) bool { return w.to == u }) {
		t.lets = append(t.lets, paperWay{u, why})
	}
}

// forget takes a turn off the paper.
func (p *paper) forget(t *paperTurn) {
	p.turns = slices.DeleteFunc(p.turns, func(u *paperTurn) bool { return u == t })
	for _, u := range p.turns {
		u.lets = slices.DeleteFunc(u.lets, func(w paperWay) bool { return w.to == t })
	}
}

// head puts a turn to the head of the line.
func (p *paper) head(t *paperTurn) {
	p.forget(t)
	p.turns = append([]*paperTurn{t}, p.turns...)
	t.waits, t.returned, t.lets = true, true, nil
}

// uncall lets a called turn hold its machine no longer.
func (p *paper) uncall(t *paperTurn) {
	if !t.waits {
		p.calls[t.home]--
	}
	t.waits = true
}

// miss: the first time the next of the same kind goes first, the second time it is over.
func (p *paper) miss(t *paperTurn, recall time.Time) {
	if t.misses++; t.misses == 2 {
		p.uncall(t)
		p.forget(t)
		return
	}
	order := p.order(t)
	p.uncall(t)
	t.recall = recall
	if i := slices.Index(order, t) + 1; i < len(order) {
		p.pass(t, order[i], queue.OverMissed)
	}
}

// write takes down a fact.
func (f *fairness) write(fact Fact) {
	p := &f.paper
	if fact.Kind == FactJoined {
		p.turns = append(p.turns, &paperTurn{id: fact.Turn, home: fact.Home, need: fact.Note, waits: true})
	}
	t := p.find(fact.Turn)
	if fact.Turn == 0 || t == nil {
		return
	}
	switch fact.Kind {
	case FactOvertaken:
		f.stored = append(f.stored, fmt.Sprintf("%d before %d: %s", fact.By, fact.Turn, fact.Why))
	case FactCalled:
		f.judge(fact, t)
		for _, u := range p.turns {
			u.recall = time.Time{}
		}
		t.waits, t.returned, t.lets = false, false, nil
		p.calls[t.home]++
		t.early = t.early || fact.Note == earlyNote
		f.ahead[t.id] = fact.Note == earlyNote
	case FactMissed:
		p.miss(t, fact.At.Add(f.room.state.Rules.RecallAfter))
	case FactStarted:
		p.uncall(t)
		t.waits = false
	case FactLeft:
		p.uncall(t)
		p.forget(t)
	case FactNotMine, FactTestRun:
		p.head(t)
	case FactTakenBack:
		if p.uncall(t); fact.Note != byLongerWash {
			t.early = t.early && !f.ahead[t.id]
			p.head(t)
		}
	case FactPassed:
		f.passes(t, fact)
	}
}

// passes: a called turn lets the one go first who gets the machine, a waiting one the
// next that waits for the same; not now keeps the place.
func (f *fairness) passes(t *paperTurn, fact Fact) {
	p, called := &f.paper, !t.waits
	order := slices.DeleteFunc(p.order(t)[slices.Index(p.order(t), t):], func(u *paperTurn) bool { return u == t })
	if called {
		m := &f.room.plan.Machines[f.room.index(fact.Machine)].Machine
		order = f.able(m, fact.At, t)
		p.uncall(t)
	}
	if fact.Note == "let the next one go first" {
		p.pass(t, order[0], queue.OverLetNext)
	}
}

// able lists who may be called to a machine, but for one turn, in the order in which they go.
func (f *fairness) able(m *queue.Machine, at time.Time, but *paperTurn) []*paperTurn {
	var left, order []*paperTurn
	for _, u := range f.paper.turns {
		if u != but && u.waits && f.kept(u, m, at) == "" {
			left = append(left, u)
		}
	}
	for len(left) > 0 {
		i := slices.IndexFunc(left, func(u *paperTurn) bool {
			return !slices.ContainsFunc(u.lets, func(w paperWay) bool { return slices.Contains(left, w.to) })
		})
		order, left = append(order, left[i]), slices.Delete(slices.Clone(left), i, i+1)
	}
	return order
}

// judge works out whom a called turn overtakes.
func (f *fairness) judge(called Fact, t *paperTurn) {
	m := &f.room.plan.Machines[f.room.index(called.Machine)].Machine
	able := f.able(m, called.At, nil)
	if len(able) == 0 || able[0] != t {
		var first []TurnID
		for _, u := range able {
			first = append(first, u.id)
		}
		f.rt.Fatalf("at %s turn %d was called to %s; it was the turn of %v, %q keeps it:\n%s", f.now.Format("15:04:05"), called.Turn, m.ID, first, f.kept(t, m, called.At), f.told())
	}
	var want []string
	for _, u := range f.paper.turns {
		if u.id >= t.id || !u.waits || f.kept(u, m, called.At) == otherWork {
			continue
		}
		why := f.kept(u, m, called.At)
		if why == "" && t.returned && slices.Index(f.paper.turns, t) < slices.Index(f.paper.turns, u) {
			why = queue.OverReturned
		}
		for _, w := range u.lets {
			if why == "" && slices.Contains(able, w.to) {
				why = w.why
			}
		}
		f.reasons[why]++
		want = append(want, fmt.Sprintf("%d before %d: %s", t.id, u.id, why))
	}
	slices.Sort(want)
	slices.Sort(f.stored)
	if !slices.Equal(want, f.stored) {
		f.rt.Fatalf("turn %d is called to %s\nwritten: %s\nstored:  %s", t.id, m.ID, strings.Join(want, "; "), strings.Join(f.stored, "; "))
	}
	f.stored = nil
}

// told lists what has happened, for whom a test fails.
func (f *fairness) told() string { return facts(ChangeSet{Facts: f.facts}) }

// otherWork is what keeps a turn from a machine of another kind.
const otherWork queue.Overtaking = "kind"

// kept is what keeps a waiting turn from a machine, in the words of the house rules;
// empty for nothing.
func (f *fairness) kept(u *paperTurn, m *queue.Machine, at time.Time) queue.Overtaking {
	k := f.room.state.Turns.Index(u.id)
	if k < 0 {
		return otherWork // it is over, later in this step
	}
	t := &f.room.state.Turns[k]
	switch {
	case u.need == "wash" && m.Kind == queue.Dryer, u.need == "dry" && m.Kind == queue.Washer, u.need == "wash-and-dry" && m.Kind != queue.WasherDryer:
		return otherWork
	case t.Wishes.Accessible && !m.Accessible, m.CapacityKg > 0 && m.CapacityKg < t.Wishes.MinKg:
		return queue.OverUnfit
	case len(m.ReservedFor) > 0 && !slices.Contains(m.ReservedFor, u.home):
		return queue.OverReserved
	case t.NotBefore.After(at):
		return queue.OverLater
	case t.Behind != 0 && (u.early || !f.soon(t.Behind, at)):
		return queue.OverWash
	case u.recall.After(at):
		return queue.OverMissed
	case f.using(u.home, t.Carries) >= f.room.state.Rules.Limits.LoadsPerHome:
		return queue.OverLimit
	}
	return ""
}

// soon: a wash takes an hour here, and its dryer is called three minutes before.
func (f *fairness) soon(load uint64, at time.Time) bool {
	l := f.room.load(LoadID(load))
	begun := f.room.state.Machines[f.room.index(l.Machine)].Start // later than the load's, where it was started again
	return !l.Ready() && begun.Add(57*time.Minute).Compare(at) <= 0
}

// using counts the loads and calls of a home; not those that others may be called
// to, or that may be gone, nor the one that is to be carried to the dryer.
func (f *fairness) using(home HomeID, carried uint64) int {
	n := f.paper.calls[home]
	for _, l := range f.room.state.Loads {
		left := l.Ready() && f.now.Sub(l.ToldAt.Add(l.Pause)) >= f.room.state.Rules.CallWithLoadAfter()
		if l.Home == home && !left && !l.AssumedEmpty && uint64(l.ID) != carried {
			n++
		}
	}
	return n
}

// attempt steps an event, refused or not, and judges every call since the last.
func (f *fairness) attempt(ev Event) {
	_, _ = f.try(ev)
	f.check()
}

func (f *fairness) check() {
	for ; f.factsSeen < len(f.facts); f.factsSeen++ {
		f.write(f.facts[f.factsSeen])
	}
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

// TestNobodyIsOvertaken: first come, first served, except by the written rules, and
// each overtaking has exactly its reason stored.
func TestNobodyIsOvertaken(t *testing.T) {
	reasons := map[queue.Overtaking]int{}
	defer func() { t.Logf("who had joined earlier was passed by these rules: %v", reasons) }()
	histories(t, 5, func(rt *rapid.T) { fairHistory(t, rt, reasons) }, func() []string {
		var never []string
		for _, why := range queue.Overtakings() {
			if reasons[why] == 0 && why != queue.OverClosed {
				never = append(never, "being overtaken by "+strconv.Quote(string(why)))
			}
		}
		return never
	})
}

// fairHistory is one random day, judged call by call.
func fairHistory(t *testing.T, rt *rapid.T, reasons map[queue.Overtaking]int) {
	f := &fairness{scene: newScene(t, mixedRoom), rt: rt, reasons: reasons, ahead: map[TurnID]bool{}, paper: paper{calls: map[HomeID]int{}}}
	machine := rapid.SampledFrom([]MachineID{"w1", "w2", "d3", "b4"})
	rt.Repeat(map[string]func(*rapid.T){
		"join": f.someoneJoins, "join too": f.someoneJoins, "turn": f.someoneActs,
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
}

func (f *fairness) someoneJoins(rt *rapid.T) {
	who := rapid.SampledFrom([]PersonID{"anna", "ben", "cleo", "dora", "emil"}).Draw(rt, "who")
	f.attempt(Join{
		Person: who, Home: "home-" + HomeID(who), Need: queue.Need(rapid.IntRange(1, 3).Draw(rt, "need")),
		DryAfter: rapid.Bool().Draw(rt, "dry after"),
		Wishes: queue.Wishes{
			Accessible: rapid.IntRange(0, 5).Draw(rt, "accessible") == 0,
			MinKg:      rapid.SampledFrom([]float64{0, 0, 0, 8}).Draw(rt, "size"),
		},
	})
}

func (f *fairness) someoneActs(rt *rapid.T) {
	if len(f.room.state.Turns) == 0 {
		return
	}
	u := rapid.SampledFrom(f.room.state.Turns).Draw(rt, "turn")
	f.attempt(rapid.SampledFrom([]Event{
		Leave{Turn: u.ID, Person: u.Person}, LetNext{Turn: u.ID, Person: u.Person},
		NotNow{Turn: u.ID, Person: u.Person, Until: f.now.Add(25 * time.Minute)},
		NotMe{Machine: u.Machine, Person: u.Person, Home: u.Home}, OnMyWay{Turn: u.ID, Person: u.Person},
	}).Draw(rt, "act"))
}
