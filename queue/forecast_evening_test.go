package queue

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// evening plays a room without chance, second by second where something happens, by
// the line's own methods (Next, Call, Miss) and nothing of the forecast: people come
// after a walk or never, loads are collected after a stay, or others are called to
// them, washes book dryers.
type evening struct {
	line     Line
	machines []Machine
	busy     []turnTime // by machine: until when, and what happens then
	house    *House
	o        *Outlook
	length   map[Need]time.Duration
	missed   bool // nobody comes
	loads    map[TurnID]HomeID
	now      time.Duration
	last     TurnID
	first    map[TurnID]time.Duration // when each was first called
}

type turnTime struct {
	at   time.Duration
	what string // "lapse", "start", "told", "open"
	turn TurnID
}

const restsNow = time.Duration(-1)

func (e *evening) clock() time.Time { return noon.Add(e.now) }

// counts are the loads of the homes; a called turn counts as one.
func (e *evening) counts() {
	clear(e.house.Loads)
	for _, home := range e.loads {
		e.house.Loads[home]++
	}
	for i := range e.line {
		if e.line[i].State == Called {
			e.house.Loads[e.line[i].Home]++
		}
	}
}

// calls calls whoever may be called, in the order of the line.
func (e *evening) calls() {
	for again := true; again; {
		again = false
		e.counts()
		for i := range e.line {
			for m := range e.machines {
				ok := e.busy[m].at == restsNow && e.line[i].Eligible(&e.machines[m], e.house, e.clock()) == Yes
				if _, over := e.line.Yields(i, &e.machines[m], e.house, e.clock()); !ok || over {
					continue
				}
				e.called(i, m)
				again = true
				break
			}
			if again {
				break
			}
		}
	}
}

func (e *evening) called(i, m int) {
	t := &e.line[i]
	if _, before := e.first[t.ID]; !before {
		e.first[t.ID] = e.now
	}
	e.line.Call(i, e.machines[m].ID, e.clock(), time.Minute)
	e.busy[m] = turnTime{e.now + e.o.WalkDown.Span().Median, "start", t.ID}
	if e.missed {
		e.busy[m] = turnTime{e.now + e.o.Hold(t.Home), "lapse", t.ID}
	}
}

// happens lets take effect what falls due at machine m.
func (e *evening) happens(m int) {
	b := e.busy[m]
	k := e.line.Index(b.turn)
	switch b.what {
	case "lapse":
		e.busy[m].at = restsNow
		e.line.Miss(k, e.clock().Add(e.o.RecallAfter))
		if e.line[k].State == Missed {
			e.line = slices.Delete(e.line, k, k+1)
		}
	case "start":
		t := e.line[k]
		e.loads[t.ID] = t.Home
		e.busy[m] = turnTime{e.now + e.length[t.Need], "told", t.ID}
		e.line.Settle(t.ID)
		e.line = slices.Delete(e.line, k, k+1)
		if t.DryAfter {
			e.last++
			dryer := Turn{ID: e.last, Home: t.Home, Need: Dry, State: Waiting, Carries: uint64(t.ID), NotBefore: noon.Add(e.busy[m].at), LeaveAt: t.LeaveAt}
			e.line = append(e.line, dryer)
		}
	case "told":
		stay := min(e.o.Collect.Span().Median, e.o.CallAfter)
		e.busy[m] = turnTime{e.now + stay, "open", b.turn}
	case "open":
		e.busy[m].at = restsNow
		delete(e.loads, b.turn)
	}
}

// play goes from one thing that happens to the next; waits that end by themselves are
// looked at each second of a coarse clock, which all lengths are multiples of.
func (e *evening) play(until time.Duration) {
	for e.now = 0; e.now <= until; e.now += tickOfEvening {
		for again := true; again; {
			again = false
			for m := range e.busy {
				if e.busy[m].at == e.now {
					e.happens(m)
					again = again || e.busy[m].at == e.now
				}
			}
		}
		e.calls()
		e.leaves()
	}
}

// leaves lets those go who wait, and chose to leave when no start is allowed any more.
func (e *evening) leaves() {
	for i := len(e.line) - 1; i >= 0; i-- {
		t := &e.line[i]
		may := e.house.Hours.MayStart(e.clock(), e.length[t.Need], time.UTC)
		if t.State == Waiting && !t.LeaveAt.IsZero() && !may {
			e.line.Settle(t.ID)
			e.line = slices.Delete(e.line, i, i+1)
		}
	}
}

const tickOfEvening = 30 * time.Second

// drawEvening draws a room, its rules and who waits.
func drawEvening(t *rapid.T) (*evening, []Supply) {
	steps := func(what string, least, most int) time.Duration {
		return time.Duration(rapid.IntRange(least, most).Draw(t, what)) * time.Minute
	}
	e := &evening{
		house: plainHouse(), loads: map[TurnID]HomeID{}, first: map[TurnID]time.Duration{}, missed: rapid.Bool().Draw(t, "nobody comes"),
		length: map[Need]time.Duration{Wash: steps("wash", 20, 90), Dry: steps("dry", 20, 90), WashAndDry: steps("both", 90, 180)},
	}
	e.house.Whose = func(load uint64) HomeID { return e.loads[TurnID(load)] }
	e.house.Limits.LoadsPerHome = rapid.IntRange(0, 2).Draw(t, "limit")
	hold := steps("hold", 3, 15)
	e.o = &Outlook{
		Cycle: func(n Need) Spread { return Always(e.length[n]) }, WalkDown: Always(min(hold, steps("walk", 1, 8))),
		Collect: Always(steps("collect", 0, 30)), CallAfter: steps("call after", 5, 20), Hold: func(HomeID) time.Duration { return hold },
		RecallAfter: steps("recall", 1, 20),
	}
	if e.missed {
		e.o.Missed = 1
	}
	if rapid.Bool().Draw(t, "closes") {
		e.house.Hours = dayHours()
	}
	e.house.Length = func(n Need) time.Duration { return e.length[n] }
	var supplies []Supply
	kinds := rapid.SliceOfN(rapid.SampledFrom([]Kind{Washer, Dryer, WasherDryer}), 1, 4).Draw(t, "kinds")
	slices.Sort(kinds) // combined machines are taken last
	for i, kind := range kinds {
		s := aWasher(MachineID(rune('1'+i)), 0)
		s.Machine.Number, s.Machine.Kind = i, kind
		supplies = append(supplies, s)
		e.machines = append(e.machines, s.Machine)
		e.busy = append(e.busy, turnTime{at: restsNow})
	}
	e.line = waiting(rapid.StringMatching(`[wd]{1,8}`).Draw(t, "line"))
	for i := range e.line {
		e.line[i].Home = rapid.SampledFrom([]HomeID{"a", "b", "c", "d"}).Draw(t, "home")
		if rapid.IntRange(0, 5).Draw(t, "both") == 0 {
			e.line[i].Need = WashAndDry
		}
		if rapid.IntRange(0, 3).Draw(t, "leaves") == 0 {
			e.line[i].LeaveAt = noon
		}
		e.line[i].DryAfter = e.line[i].Need == Wash && rapid.IntRange(0, 3).Draw(t, "dry after") == 0
		if rapid.IntRange(0, 3).Draw(t, "not now") == 0 {
			e.line[i].NotBefore = noon.Add(steps("later", 1, 120))
		}
	}
	for range rapid.IntRange(0, 2).Draw(t, "let next") {
		e.line.LetNext(rapid.IntRange(0, len(e.line)-1).Draw(t, "who"), nil, plainHouse(), noon)
	}
	e.last = e.line[len(e.line)-1].ID
	return e, supplies
}

// TestForecastOfAnEvening: without chance, the forecast of a room with people who walk
// or never come, loads that stay, limits and booked dryers is what happens when the
// line's own rules are followed, until the room closes and in the morning.
func TestForecastOfAnEvening(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e, supplies := drawEvening(t)
		waits := slices.Clone(e.line)
		guesses := Forecast(slices.Clone(e.line), supplies, e.house, e.o, noon).Turns
		const until = 24 * time.Hour
		e.play(until)
		for i := range waits {
			at, called := e.first[waits[i].ID]
			g := guesses[i]
			if called && (!g.OK || g.In != exactly(at)) || !called && g.OK && g.In.Median < until {
				t.Fatalf("turn %d (%+v): forecast %+v, called in %v (%v)", waits[i].ID, waits[i], g, at, called)
			}
		}
	})
}
