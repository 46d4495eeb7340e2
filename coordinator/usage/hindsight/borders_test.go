package hindsight

import (
	"slices"
	"testing"
	"time"

	"drumturn/coordinator"
)

// TestAStoreThatFails: the error is told, of whatever is asked.
func TestAStoreThatFails(t *testing.T) {
	other := Place{"attic", "w1"}
	if _, err := Tell(ctx, &shelf{}, other, &script{}, nil, aCycle); err == nil {
		t.Error("a cycle is told")
	}
	if got, err := Hear(ctx, &shelf{}, other, dawn.Add(time.Hour), time.Minute, dawn); err == nil || len(got) != 1 {
		t.Errorf("a meter is heard: %+v", got)
	}
	if _, err := Cycles(ctx, &shelf{}, other, dawn, 5); err == nil {
		t.Error("cycles are listed")
	}
	if got, ok, err := Find(ctx, &shelf{}, other, 3, dawn); err == nil || ok || got.Cycle != 0 {
		t.Errorf("a cycle is found: %+v", got)
	}
	if _, err := Between(ctx, &shelf{}, other, dawn, dawn.Add(time.Hour)); err == nil {
		t.Error("cycles are found between")
	}
}

// TestBetweenAtItsBorders: what ran at any instant between, and was told of within twelve
// hours; a cycle without a number is always one of its own.
func TestBetweenAtItsBorders(t *testing.T) {
	from, to := dawn, dawn.Add(10*time.Hour)
	cycleAt := func(number uint64, start, end, told time.Duration) coordinator.Fact {
		return coordinator.Fact{Kind: coordinator.FactCycle, Machine: "w1", Cycle: number, Start: dawn.Add(start), End: dawn.Add(end), At: dawn.Add(told)}
	}
	const h = time.Hour
	for _, c := range []struct {
		name  string
		facts []coordinator.Fact
		want  []uint64
	}{
		{"within", []coordinator.Fact{cycleAt(1, h, 2*h, 2*h)}, []uint64{1}},
		{"ended as it begins", []coordinator.Fact{cycleAt(1, -h, 0, 0)}, nil},
		{"ended just after", []coordinator.Fact{cycleAt(1, -h, 1, 1)}, []uint64{1}},
		{"began as it ends", []coordinator.Fact{cycleAt(1, 10*h, 11*h, 11*h)}, nil},
		{"began just before", []coordinator.Fact{cycleAt(1, 10*h-1, 11*h, 11*h)}, []uint64{1}},
		{"longer than all of it", []coordinator.Fact{cycleAt(1, -h, 20*h, 20*h)}, []uint64{1}},
		{"told of twelve hours later", []coordinator.Fact{cycleAt(1, h, 2*h, 22*h)}, nil},
		{"told of just before that", []coordinator.Fact{cycleAt(1, h, 2*h, 22*h-1)}, []uint64{1}},
		{"told of again", []coordinator.Fact{cycleAt(1, h, 2*h, 2*h), cycleAt(2, 3*h, 4*h, 4*h), cycleAt(1, h, 5*h, 5*h)}, []uint64{1, 2}},
		{"without numbers", []coordinator.Fact{cycleAt(0, h, 2*h, 2*h), cycleAt(0, 3*h, 4*h, 4*h)}, []uint64{0, 0}},
		{"no cycle", []coordinator.Fact{{Kind: coordinator.FactFault, Machine: "w1", Start: dawn, End: dawn.Add(h), At: dawn.Add(h)}}, nil},
	} {
		got, err := Between(ctx, &shelf{facts: c.facts}, place, from, to)
		var numbers []uint64
		for _, f := range got {
			numbers = append(numbers, f.Cycle)
		}
		if err != nil || !slices.Equal(numbers, c.want) {
			t.Errorf("%s: %v, %v, want %v", c.name, numbers, err, c.want)
		}
		if c.name == "told of again" && !got[0].End.Equal(dawn.Add(5*h)) {
			t.Errorf("%s: as at first: %+v", c.name, got[0])
		}
	}
}

// TestCyclesWithoutNumbers are each one, of stores from before cycles had numbers; other
// facts of the machine, and cycles of others, are none of them.
func TestCyclesWithoutNumbers(t *testing.T) {
	s := &shelf{facts: []coordinator.Fact{fact(0, 0, "w1"), fact(0, 0, "w1"), fact(1, 0, "w2"), fact(1, 0, "w1"), {Kind: coordinator.FactFault, Machine: "w1", At: dawn.AddDate(0, 0, 2)}}}
	if got, err := Cycles(ctx, s, place, dawn.AddDate(0, 0, 5), 10); err != nil || len(got) != 3 || got[0].At.Before(got[1].At) {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err := Cycles(ctx, s, place, dawn.AddDate(0, 0, 5), 2); err != nil || len(got) != 2 {
		t.Errorf("of two at most: %+v, %v", got, err)
	}
}

// TestMostReadingsOfACycle: half a day of a reading a second, of each cycle.
func TestMostReadingsOfACycle(t *testing.T) {
	s := every(100*time.Millisecond, -15*time.Minute, 70*time.Minute)
	e := &script{}
	if _, err := Tell(ctx, s, place, e, nil, aCycle); err != nil || len(e.read) != 43_200 || len(s.readings) < 45_000 {
		t.Errorf("%d of %d are read, %v", len(e.read), len(s.readings), err)
	}
	before := aCycle
	before.Start, before.End, before.At = dawn.Add(-3*time.Hour), dawn.Add(-2*time.Hour), dawn.Add(-2*time.Hour)
	s = every(100*time.Millisecond, -195*time.Minute, 62*time.Minute)
	e = &script{}
	if _, err := Tell(ctx, s, place, e, []coordinator.Fact{before}, aCycle); err != nil || len(e.read) != 2*43_200 {
		t.Errorf("of two cycles %d are read, %v", len(e.read), err)
	}
}

// TestReadTogether: stretches up to six hours apart are read at once.
func TestReadTogether(t *testing.T) {
	at := func(h float64) time.Time { return dawn.Add(time.Duration(h * float64(time.Hour))) }
	for _, c := range []struct {
		from float64 // of the second; the first ends at 1
		want int
	}{{2, 1}, {7, 1}, {7.01, 2}} {
		if got := grouped([]stretch{{at(0), at(1)}, {at(c.from), at(c.from + 1)}}); len(got) != c.want {
			t.Errorf("from %v: %d groups", c.from, len(got))
		}
	}
	got := stretches([]coordinator.Fact{{Start: at(0), At: at(1)}, {Start: at(1.2), At: at(2)}}, coordinator.Fact{Start: at(5), At: at(6)})
	want := []stretch{{at(-0.25), at(0.95)}, {at(0.95), at(2).Add(10 * time.Minute)}, {at(4.75), at(6).Add(time.Second)}}
	same := func(a, b stretch) bool {
		return a.from.Sub(b.from).Abs() < time.Second && a.to.Sub(b.to).Abs() < time.Second
	}
	if !slices.EqualFunc(got, want, same) {
		t.Errorf("stretches %v, want %v", got, want)
	}
}

// TestFindAmongOthers: other machines, whose numbers are higher, and other facts, which
// have none, lead nobody astray; nor does a cycle that is told of again after the next.
func TestFindAmongOthers(t *testing.T) {
	s := &shelf{}
	for day := 1; day <= 60; day++ {
		other, own := fact(day, uint64(1000+day), "w2"), fact(day, uint64(day), "w1")
		own.At = own.At.Add(5 * time.Hour)
		s.facts = append(s.facts, other, coordinator.Fact{Kind: coordinator.FactFault, Machine: "w1", At: other.At.Add(time.Hour)}, own)
		if day%7 == 0 { // the one before is told of again
			again := fact(day-1, uint64(day-1), "w1")
			again.At = own.At.Add(time.Hour)
			s.facts = append(s.facts, again)
		}
	}
	for number := uint64(1); number <= 60; number++ {
		got, ok, err := Find(ctx, s, place, number, dawn.AddDate(0, 0, 100))
		if err != nil || !ok || got.Cycle != number || got.Machine != "w1" {
			t.Errorf("cycle %d: %+v, %v, %v", number, got, ok, err)
		}
	}
	for _, number := range []uint64{0, 61, 1005} {
		if got, ok, err := Find(ctx, s, place, number, dawn.AddDate(0, 0, 100)); err != nil || ok {
			t.Errorf("cycle %d is %+v, %v", number, got, err)
		}
	}
	// Not among those told of before: it is told of later.
	if _, ok, err := Find(ctx, s, place, 40, fact(40, 40, "w1").At); err != nil || ok {
		t.Errorf("a cycle is found before it was told of: %v", err)
	}
}
