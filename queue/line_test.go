package queue

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// waiting makes a line of waiting turns; 'w' wants a wash, 'd' a dryer.
func waiting(needs string) Line {
	var l Line
	for i, c := range needs {
		need := Wash
		if c == 'd' {
			need = Dry
		}
		l = append(l, Turn{ID: TurnID(i + 1), Home: HomeID(rune('a' + i)), Need: need, State: Waiting, Joined: noon})
	}
	return l
}

func ids(l Line) []TurnID {
	var out []TurnID
	for _, t := range l {
		out = append(out, t.ID)
	}
	return out
}

func wantOrder(t *testing.T, l Line, want ...TurnID) {
	t.Helper()
	if got := ids(l); !slices.Equal(got, want) {
		t.Errorf("the order is %v, want %v", got, want)
	}
}

var washer = &Machine{ID: "1", Number: 1, Kind: Washer}

func TestNextIsFirstComeFirstServed(t *testing.T) {
	l := waiting("dww")
	if i := l.Next(washer, plainHouse(), noon); i != 1 {
		t.Errorf("the next for a washer is at %d, want 1", i)
	}
	l[1].NotBefore = noon.Add(time.Hour)
	if i := l.Next(washer, plainHouse(), noon); i != 2 {
		t.Errorf("the next is at %d, want 2: the first asked for later", i)
	}
	if i := l.FirstWaiting(washer); i != 1 {
		t.Errorf("the first who could ever use it is at %d, want 1", i)
	}
	if i := waiting("dd").Next(washer, plainHouse(), noon); i != -1 {
		t.Errorf("somebody at %d wants to dry in a washer", i)
	}
}

// wantGoes calls one after the other to a machine, and fails unless they are the given turns.
func wantGoes(t *testing.T, l Line, m *Machine, want ...TurnID) {
	t.Helper()
	l, got := slices.Clone(l), []TurnID{}
	for range want {
		i := l.Next(m, plainHouse(), noon)
		if i < 0 {
			break
		}
		got = append(got, l[i].ID)
		l.Call(i, m.ID, noon, time.Minute)
	}
	if !slices.Equal(got, want) {
		t.Errorf("called are %v, want %v", got, want)
	}
}

// TestMissCostsOnePlace among turns of the same kind; others are not touched.
func TestMissCostsOnePlace(t *testing.T) {
	l := waiting("wdww")
	l.Call(0, "1", noon, 10*time.Minute)
	l.Miss(0, noon.Add(20*time.Minute))
	wantOrder(t, l, 1, 2, 3, 4)
	wantGoes(t, l, washer, 3)
	turn := l[l.Index(1)]
	if turn.State != Waiting || turn.Misses != 1 || turn.Machine != "" || !turn.HoldUntil.IsZero() {
		t.Errorf("after a miss the turn is %+v", turn)
	}
	if v := turn.Eligible(washer, plainHouse(), noon); v != RecallWait {
		t.Errorf("it may be called at once: %s", v)
	}
	l.Call(l.Index(3), "1", noon, 10*time.Minute)
	turn = l[l.Index(1)]
	if v := turn.Eligible(washer, plainHouse(), noon); v != Yes {
		t.Errorf("after another was called: %s", v)
	}
	wantGoes(t, l, washer, 1, 4)
}

func TestSecondMissEnds(t *testing.T) {
	l := waiting("ww")
	for range 2 {
		l.Call(l.Index(1), "1", noon, time.Minute)
		l.Miss(l.Index(1), noon)
	}
	if turn := l[l.Index(1)]; turn.State != Missed || turn.Calls != 2 {
		t.Errorf("after two misses the turn is %+v", turn)
	}
}

func TestMissWithNobodyBehind(t *testing.T) {
	l := waiting("wd")
	l.Call(0, "1", noon, time.Minute)
	l.Miss(0, noon)
	wantOrder(t, l, 1, 2)
}

func TestReleaseGoesToTheHead(t *testing.T) {
	l := waiting("www")
	l.Call(1, "1", noon, time.Minute)
	l.Release(1)
	wantOrder(t, l, 2, 1, 3)
	if l[0].State != Waiting || l[0].Misses != 0 {
		t.Errorf("a call taken back blames: %+v", l[0])
	}
}

func TestLetNext(t *testing.T) {
	l := waiting("wdwww")
	l[2].NotBefore = noon.Add(time.Hour)
	l.Call(0, "1", noon, time.Minute)
	if !l.LetNext(0, washer, plainHouse(), noon) {
		t.Fatal("nobody could go first")
	}
	wantOrder(t, l, 1, 2, 3, 4, 5)
	if l[0].State != Waiting || l[0].Misses != 0 {
		t.Errorf("whoever lets another go first is %+v", l[0])
	}
	wantGoes(t, l, washer, 4, 1, 5)
}

func TestLetNextWhileWaiting(t *testing.T) {
	l := waiting("wdw")
	if !l.LetNext(0, nil, plainHouse(), noon) {
		t.Fatal("nobody could go first")
	}
	wantGoes(t, l, washer, 3, 1)
	if l.LetNext(0, nil, plainHouse(), noon) || l.CanLetNext(0) {
		t.Error("the last let somebody go first")
	}
}

func TestPlaceAndActive(t *testing.T) {
	l := waiting("wdww")
	l[0].State = Called
	l[3].Home = l[0].Home
	if got := l.Place(3); got != 2 {
		t.Errorf("place %d, want 2: one wash waits ahead", got)
	}
	l.LetNext(2, nil, plainHouse(), noon)
	if a, b := l.Place(2), l.Place(3); a != 2 || b != 1 {
		t.Errorf("places %d and %d, want 2 and 1: the one has let the other go first", a, b)
	}
	if got := l.Active(l[0].Home); got != 2 {
		t.Errorf("%d active turns, want 2", got)
	}
	l[0].State = Started
	if got := l.Active(l[3].Home); got != 1 {
		t.Errorf("%d active turns after a start, want 1", got)
	}
	if l.Index(99) != -1 {
		t.Error("a turn that is not there was found")
	}
}

// TestOthersKeepTheirOrder: whatever one turn does, all others keep their order
// among each other, and none is lost.
func TestOthersKeepTheirOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := waiting(rapid.StringMatching(`[wd]{1,9}`).Draw(t, "line"))
		i := rapid.IntRange(0, len(l)-1).Draw(t, "who")
		actor := l[i].ID
		before := slices.DeleteFunc(ids(l), func(id TurnID) bool { return id == actor })
		switch rapid.SampledFrom([]string{"miss", "let next", "release", "call"}).Draw(t, "act") {
		case "miss":
			l.Call(i, "1", noon, time.Minute)
			l.Miss(i, noon)
		case "let next":
			l.LetNext(i, nil, plainHouse(), noon)
		case "release":
			l.Call(i, "1", noon, time.Minute)
			l.Release(i)
		case "call":
			l.Call(i, "1", noon, time.Minute)
		}
		after := slices.DeleteFunc(ids(l), func(id TurnID) bool { return id == actor })
		if !slices.Equal(before, after) || l.Index(actor) < 0 {
			t.Fatalf("the others were %v and are %v", before, after)
		}
	})
}
