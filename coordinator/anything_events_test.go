package coordinator

import (
	"fmt"
	"strings"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

// eventName is an event's type without its package.
func eventName(ev Event) string {
	name := fmt.Sprintf("%T", ev)
	return name[strings.LastIndexByte(name, '.')+1:]
}

// anyPlan is one of three rooms: plain, one whose machines differ, and one where a
// machine has no meter. The zone is an hour or two off UTC.
func anyPlan(rt *rapid.T) Plan {
	plan := testPlan()
	plan.Zone = time.FixedZone("here", rapid.SampledFrom([]int{0, 2}).Draw(rt, "zone")*3600)
	plan.Seed = anyRules(rt)
	switch rapid.IntRange(0, 2).Draw(rt, "room") {
	case 1:
		hours := plan.Seed.Hours
		mixedRoom(&plan)
		plan.Machines[0].Stacked = true
		plan.Seed.Hours = hours
	case 2:
		plan.Machines[1].Meter = ""
	}
	return plan
}

// anyRules are house rules that Validate passes, the room open on every day.
func anyRules(rt *rapid.T) Rules {
	r := DefaultRules()
	minutes := func(what string, list ...int) time.Duration {
		return time.Duration(rapid.SampledFrom(list).Draw(rt, what)) * time.Minute
	}
	r.Hold = minutes("hold", 10, 3, 30)
	r.CallUncollectedAfter = minutes("call uncollected", 0, 10, 45)
	r.AssumeEmptyAfter = minutes("assume empty", 180, 20)
	r.RecallAfter = minutes("recall", 10, 0, 40)
	r.NotMeWithin = minutes("not me", 15, 0)
	r.MoreTime = minutes("more time", 10, 0)
	r.MoreTimeWaiting = min(r.MoreTime, minutes("more time, waiting", 0, 5))
	r.DryCallAhead = minutes("dry call ahead", 5, 0)
	r.OnMyWayAdds = minutes("on my way adds", 0, 5)
	if rapid.Bool().Draw(rt, "longer hold") {
		r.LongerHold, r.LongerHoldHomes = r.Hold+15*time.Minute, []HomeID{"home-ben"}
	}
	r.WalkUps = rapid.SampledFrom([]Manner{Allowed, Tolerated, Reported}).Draw(rt, "walk-ups")
	r.Limits.TurnsPerHome = rapid.IntRange(1, 3).Draw(rt, "turns")
	r.Limits.LoadsPerHome = rapid.IntRange(1, 2).Draw(rt, "loads")
	if rapid.Bool().Draw(rt, "no night") {
		r.NightFrom, r.NightTo = queue.NoClock, queue.NoClock
	}
	if rapid.Bool().Draw(rt, "no ladder") {
		r.Ladder = nil
	}
	if rapid.Bool().Draw(rt, "closed at night") {
		for i := range r.Hours {
			r.Hours[i] = queue.Day{Opens: 7 * 60, LastStart: 20 * 60, EndedBy: 22 * 60}
		}
	}
	if problems := r.Validate(); len(problems) > 0 {
		rt.Fatalf("the rules of the test are wrong: %+v", problems)
	}
	return r
}

// who is somebody of three homes, one with a flatmate.
func (a *anything) who() (PersonID, HomeID) {
	who := rapid.SampledFrom([]PersonID{"anna", "ben", "cleo", "flatmate"}).Draw(a.rt, "who")
	if who == "flatmate" {
		return who, "home-anna"
	}
	return who, "home-" + HomeID(who)
}

func (a *anything) machine() MachineID {
	return a.plan.Machines[rapid.IntRange(0, len(a.plan.Machines)-1).Draw(a.rt, "machine")].ID
}

func (a *anything) join() {
	person, home := a.who()
	ev := Join{
		Person: person, Home: home, Need: queue.Need(rapid.IntRange(1, 3).Draw(a.rt, "need")), DryAfter: a.chance("dry after", 2),
		LeaveAtClosing: a.chance("leave at closing", 4),
		Wishes:         queue.Wishes{Accessible: a.chance("accessible", 6), Lower: a.chance("lower", 6)},
	}
	if a.chance("big", 6) {
		ev.Wishes.MinKg = 8
	}
	active := a.room.state.Turns.Active(home)
	if limit := a.room.state.Rules.Limits.TurnsPerHome; a.step(ev) && active >= limit {
		a.rt.Fatalf("%s had %d of %d turns, and took one more", home, active, limit)
	}
}

// turn is something about a turn of the line, mostly by who may.
func (a *anything) turn() {
	if len(a.room.state.Turns) == 0 {
		return
	}
	t := rapid.SampledFrom(a.room.state.Turns).Draw(a.rt, "turn")
	person, home := t.Person, t.Home
	if a.chance("stranger", 5) {
		person, home = a.who()
	}
	a.step(rapid.SampledFrom([]Event{
		LetNext{Turn: t.ID, Person: person, Home: home},
		NotNow{Turn: t.ID, Person: person, Home: home, Until: a.now.Add(25 * time.Minute)},
		NotNow{Turn: t.ID, Person: person, Home: home, Until: a.now.Add(25 * time.Hour)},
		Leave{Turn: t.ID, Person: person, Home: home},
		NotMe{Machine: t.Machine, Person: person, Home: home},
		AtClosing{Turn: t.ID, Person: person, Home: home, Leave: true}, AtClosing{Turn: t.ID, Person: person, Home: home},
		HoldLonger{Home: home, On: true}, HoldLonger{Home: home},
		MovedOut{Person: person},
		MovedOut{Home: home}, MovedOut{Home: home, TurnsOnly: true},
		Merged{Person: person, Into: "anna", IntoHome: "home-anna"}, Merged{Home: home, IntoHome: "home-ben"}, OpenHomes{On: a.chance("open", 2)},
	}).Draw(a.rt, "act"))
}

// atMachine is something about a machine and what is in it.
func (a *anything) atMachine() {
	person, home := a.who()
	m := a.machine()
	a.step(rapid.SampledFrom([]Event{
		Claim{Machine: m, Person: person, Home: home},
		NotMe{Machine: m, Person: person, Home: home},
		Collect{Machine: m, Person: person, Home: home},
		Collect{Machine: m, Person: person, Home: home, OnTable: true},
		Collect{Machine: m},
		MoreTime{Machine: m, Person: person, Home: home},
		DryAfter{Machine: m, Person: person, Home: home},
		StillInside{Machine: m, Person: person, Home: home},
		Door{Machine: m, Open: true}, Door{Machine: m},
		ReportFault{Machine: m, Person: person, Home: home, Text: "It rattles."},
		ReportFault{Machine: m, Text: " "},
		TakeOut{Machine: m, Text: "Repair"},
		PutBack{Machine: m}, PutBack{Machine: m},
		ByHand{Machine: m, On: true}, ByHand{Machine: m},
		StartByHand{Machine: m, Person: person, Home: home}, StartByHand{Machine: m},
		EndByHand{Machine: m},
		ForgetLearned{Machine: m},
		LookedAfter{Machine: m, Person: person, Text: "Vent cleaned"},
		Claim{Machine: "nowhere", Person: person, Home: home},
	}).Draw(a.rt, "act"))
}

// run is what a drum does, as its meter sees it.
func (a *anything) run() {
	m := a.machine()
	switch rapid.IntRange(0, 6).Draw(a.rt, "run") {
	case 0, 1:
		a.power(m, 300)
	case 2, 3:
		a.power(m, 1)
	case 4: // a test run
		a.power(m, 300)
		a.pass(2 * time.Minute)
		a.power(m, 1)
	case 5:
		a.power(m, noCycleW)
	case 6:
		a.power(m, goesOnW)
	}
	a.did["run"]++
}

// called is what somebody may do who was called to a machine: start it, for a
// moment only perhaps, and say at once that it was somebody else.
func (a *anything) called() {
	for i := range a.room.state.Machines {
		t := a.room.holder(i)
		if t == nil {
			continue
		}
		m, person := a.plan.Machines[i].ID, t.Person
		a.power(m, 300)
		switch rapid.IntRange(0, 3).Draw(a.rt, "called") {
		case 0:
			a.step(NotMe{Machine: m, Person: person})
		case 1:
			a.pass(2 * time.Minute)
			a.power(m, 1)
			a.step(Collect{Machine: m, Person: person})
		case 2:
			a.step(DryAfter{Machine: m, Person: person})
			a.pass(time.Duration(rapid.IntRange(50, 70).Draw(a.rt, "minutes")) * time.Minute)
		}
		return
	}
}

// owner is what somebody may do whose load is ready: ask for more time, collect
// it, or contradict a neighbour who says that it is gone.
func (a *anything) owner() {
	for _, l := range a.room.state.Loads {
		if !l.Ready() {
			continue
		}
		person, home := l.Owner, l.Home
		if person == "" {
			person, home = a.who()
			a.step(Claim{Machine: l.Machine, Person: person, Home: home})
		}
		switch rapid.IntRange(0, 3).Draw(a.rt, "owner") {
		case 0:
			a.step(MoreTime{Machine: l.Machine, Person: person, Home: home})
		case 1:
			a.step(Collect{Machine: l.Machine, Person: person, Home: home})
		case 2:
			a.step(Collect{Machine: l.Machine, OnTable: a.chance("table", 2)})
			a.pass(time.Duration(rapid.IntRange(0, 20).Draw(a.rt, "minutes")) * time.Minute)
			a.step(StillInside{Machine: l.Machine, Person: person, Home: home})
		case 3:
			a.step(Door{Machine: l.Machine, Open: true})
		}
		return
	}
}

// whole is a cycle that ends as it should.
func (a *anything) whole() {
	m := a.machine()
	a.power(m, 300)
	a.pass(time.Duration(rapid.IntRange(25, 90).Draw(a.rt, "minutes")) * time.Minute)
	a.power(m, 1)
}

// supply lets power go for a while, in all machines within a second, and come back.
func (a *anything) supply() {
	was := map[MachineID]float64{}
	for id, w := range a.watts {
		was[id] = w
	}
	for _, m := range a.plan.Machines {
		a.power(m.ID, 0)
	}
	a.pass(time.Duration(rapid.IntRange(0, 45).Draw(a.rt, "minutes")) * time.Minute)
	for _, m := range a.plan.Machines {
		a.power(m.ID, was[m.ID])
	}
	a.did["supply"]++
}

// meters stop being heard, or speak again.
func (a *anything) meters() {
	for _, m := range a.plan.Machines {
		a.deaf[m.ID] = a.chance("deaf", 2)
	}
	a.pass(time.Duration(rapid.IntRange(5, 30).Draw(a.rt, "minutes")) * time.Minute)
}

// clock lets the clock jump: ahead over deadlines that nobody meets, or back.
func (a *anything) clock() {
	true, by := a.now, time.Duration(rapid.IntRange(-120, 1800).Draw(a.rt, "minutes"))*time.Minute
	a.now = a.now.Add(by)
	a.step(Tick{})
	if by < 0 {
		person, home := a.who()
		a.step(Join{Person: person, Home: home, Need: queue.Wash})
		a.now = later(true, a.room.state.Now)
	}
	a.did["clock"]++
}

func (a *anything) rules() { a.step(SetRules{Rules: anyRules(a.rt)}) }

func (a *anything) badRules() {
	r := DefaultRules()
	r.Hold = 0
	if a.step(SetRules{Rules: r}) {
		a.rt.Fatal("house rules without a hold were taken")
	}
}
