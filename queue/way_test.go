package queue

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var (
	dryer       = &Machine{ID: "2", Number: 2, Kind: Dryer}
	washerDryer = &Machine{ID: "3", Number: 3, Kind: WasherDryer}
)

// TestMissAtAWasherDryer: a missed wash lets the next wash go first, and no dry load.
// While that wash waits, the dry load between the two goes before both, as it goes
// before the one and the one before the other; once it is called the place is won back.
func TestMissAtAWasherDryer(t *testing.T) {
	l := waiting("wdwd")
	l.Call(0, "3", noon, time.Minute)
	l.Miss(0, noon)
	wantGoes(t, l, washerDryer, 2, 3, 1, 4)
	wantGoes(t, l, washer, 3, 1)
	wantGoes(t, l, dryer, 2, 4)
	l.Call(l.Next(washer, plainHouse(), noon), "1", noon, time.Minute)
	wantGoes(t, l, washerDryer, 1, 2, 4)
}

// TestLetNextAtAWasherDryer: who is called to a washer-dryer lets go first whoever
// has it instead, for other work as well, and nobody more.
func TestLetNextAtAWasherDryer(t *testing.T) {
	l := waiting("wdwd")
	l.Call(0, "3", noon, time.Minute)
	if !l.LetNext(0, washerDryer, plainHouse(), noon) {
		t.Fatal("nobody could go first")
	}
	wantGoes(t, l, washerDryer, 2, 1, 3, 4)
	wantGoes(t, l, washer, 1, 3)
}

// TestLetNextGainsNothing: the one who goes instead may stand before, having just
// missed a call; then no place is lost.
func TestLetNextGainsNothing(t *testing.T) {
	l := waiting("www")
	l.Call(1, "1", noon, time.Minute)
	if !l.LetNext(1, washer, plainHouse(), noon) {
		t.Fatal("nobody could go first")
	}
	wantGoes(t, l, washer, 1, 2, 3)
}

// TestWhoWasLetFirstMisses: the one place that it loses goes to whoever had let it go
// first, not to the next.
func TestWhoWasLetFirstMisses(t *testing.T) {
	l := waiting("www")
	l.Call(0, "1", noon, time.Minute)
	l.Miss(0, noon)
	l.Call(1, "1", noon, time.Minute)
	l.Miss(1, noon)
	wantGoes(t, l, washer, 1, 2, 3)
}

// TestWayToOneWhoCannot: a turn lets another go first only where that one could have
// the machine.
func TestWayToOneWhoCannot(t *testing.T) {
	l := waiting("www")
	l[1].Wishes.Accessible = true
	l.LetNext(0, nil, plainHouse(), noon)
	wantGoes(t, l, washer, 1, 3)
	accessible := *washer
	accessible.Accessible = true
	wantGoes(t, l, &accessible, 2, 1, 3)
	l[1].NotBefore = noon.Add(time.Hour)
	wantGoes(t, l, &accessible, 1, 3)
}

// TestInsert: a turn that comes back stands behind all that joined before it.
func TestInsert(t *testing.T) {
	for name, c := range map[string]struct {
		line, want []TurnID
		turn       TurnID
	}{
		"into none":       {nil, []TurnID{4}, 4},
		"at the head":     {[]TurnID{5, 6}, []TurnID{4, 5, 6}, 4},
		"in its place":    {[]TurnID{2, 3, 5}, []TurnID{2, 3, 4, 5}, 4},
		"at the end":      {[]TurnID{2, 3}, []TurnID{2, 3, 4}, 4},
		"a returned head": {[]TurnID{5, 2, 3}, []TurnID{5, 2, 3, 4}, 4},
	} {
		var l Line
		for _, id := range c.line {
			l = append(l, Turn{ID: id})
		}
		if got := ids(l.Insert(Turn{ID: c.turn})); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// crowd is a line of washes, dries and both, to which anything happens that may.
type crowd struct {
	line Line
	// guilty are those that missed a call or let others go first, returned those whose
	// call was taken back: all others must keep their order.
	guilty, returned map[TurnID]bool
	last             TurnID
}

func (c *crowd) join(t *rapid.T) {
	c.last++
	c.line = append(c.line, Turn{ID: c.last, Home: HomeID(rune('a' + c.last)), Need: Need(rapid.IntRange(1, 3).Draw(t, "need")), State: Waiting})
}

var crowdMachines = []*Machine{washer, dryer, washerDryer}

// act calls somebody, and lets them do something about it.
func (c *crowd) act(t *rapid.T) {
	m := rapid.SampledFrom(crowdMachines).Draw(t, "machine")
	i := c.line.Next(m, plainHouse(), noon)
	if i < 0 {
		return
	}
	id := c.line[i].ID
	c.line.Call(i, m.ID, noon, time.Minute)
	switch rapid.SampledFrom([]string{"miss", "let next", "release", "wait", "start"}).Draw(t, "act") {
	case "miss":
		c.guilty[id] = true
		if c.line.Miss(i, noon); c.line[i].State == Missed {
			c.leave(i)
		}
	case "let next":
		c.guilty[id] = true
		if !c.line.LetNext(i, m, plainHouse(), noon) {
			c.line.Wait(i)
		}
	case "release":
		c.returned[id] = true
		c.line.Release(i)
	case "wait":
		c.line.Wait(i)
	case "start":
		c.leave(i)
	}
}

// yield lets a waiting turn let the next one go first.
func (c *crowd) yield(t *rapid.T) {
	if len(c.line) == 0 {
		return
	}
	i := rapid.IntRange(0, len(c.line)-1).Draw(t, "who")
	c.guilty[c.line[i].ID] = true
	behind, place := c.line.CanLetNext(i), c.line.Place(i)
	if c.line.LetNext(i, nil, plainHouse(), noon) != behind {
		t.Fatalf("turn %d can let the next go first: %v", c.line[i].ID, behind)
	}
	if now := c.line.Place(i); behind && now != place+1 {
		t.Fatalf("turn %d had place %d and has %d", c.line[i].ID, place, now)
	}
}

func (c *crowd) leave(i int) {
	c.line.Settle(c.line[i].ID)
	c.line = slices.Delete(c.line, i, i+1)
}

// goes is the order in which a machine takes all that it serves.
func (c *crowd) goes(m *Machine) []TurnID {
	l, order := slices.Clone(c.line), []TurnID{}
	for i := l.Next(m, plainHouse(), noon); i >= 0; i = l.Next(m, plainHouse(), noon) {
		order = append(order, l[i].ID)
		l[i].State = Started
	}
	return order
}

// TestOnlyTheGuiltyLosePlaces: whatever others do, a turn that neither missed a call nor
// let anybody go first is called to every machine before all that joined later, but for
// those whose call was taken back; nobody who may be called is ever stuck behind others; and ways lead
// backwards, so that none closes a circle.
func TestOnlyTheGuiltyLosePlaces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &crowd{guilty: map[TurnID]bool{}, returned: map[TurnID]bool{}}
		t.Repeat(map[string]func(*rapid.T){
			"join": c.join, "join too": c.join, "call": c.act, "let next": c.yield,
			"": func(t *rapid.T) {
				for i := range c.line {
					for _, w := range c.line[i].Ways {
						if c.line.Index(w.To) <= i {
							t.Fatalf("turn %d, at %d, lets turn %d go first, which is at %d", c.line[i].ID, i, w.To, c.line.Index(w.To))
						}
					}
				}
				for _, m := range crowdMachines {
					order := c.goes(m)
					serves := slices.DeleteFunc(ids(c.line), func(id TurnID) bool { return !m.Kind.Serves(c.line[c.line.Index(id)].Need) })
					if len(order) != len(serves) {
						t.Fatalf("%s takes %v of %v", m.Kind, order, serves)
					}
					for k, id := range order {
						over := slices.ContainsFunc(order[:k], func(other TurnID) bool { return other > id && !c.returned[other] })
						if over && !c.guilty[id] {
							t.Fatalf("%s takes them in the order %v, though turn %d did nothing", m.Kind, order, id)
						}
					}
				}
			},
		})
	})
}
