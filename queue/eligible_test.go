package queue

import (
	"testing"
	"time"
)

// noon is a Wednesday noon in summer, UTC.
var noon = time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)

// plainHouse is a house with limits and no closing hours.
func plainHouse() *House {
	return &House{
		Limits: Limits{TurnsPerHome: 2, LoadsPerHome: 2}, Hours: AlwaysOpen(), Zone: time.UTC,
		Loads: map[HomeID]int{}, Length: func(Need) time.Duration { return time.Hour },
	}
}

// TestEligible names each verdict once, and shows that nothing else is in its way.
func TestEligible(t *testing.T) {
	closedDay := AlwaysOpen()
	closedDay[time.Wednesday].Closed = true
	for _, c := range []struct {
		name   string
		want   Verdict
		change func(*Turn, *Machine, *House)
	}{
		{"plain", Yes, func(*Turn, *Machine, *House) {}},
		{"called already", NotWaiting, func(t *Turn, _ *Machine, _ *House) { t.State = Called }},
		{"a dryer for a wash", WrongKind, func(_ *Turn, m *Machine, _ *House) { m.Kind = Dryer }},
		{"a washer-dryer for a wash", Yes, func(_ *Turn, m *Machine, _ *House) { m.Kind = WasherDryer }},
		{"both in one load on a washer", WrongKind, func(t *Turn, _ *Machine, _ *House) { t.Need = WashAndDry }},
		{"both in one load on a washer-dryer", Yes, func(t *Turn, m *Machine, _ *House) { t.Need, m.Kind = WashAndDry, WasherDryer }},
		{"accessible wanted", NotAccessible, func(t *Turn, _ *Machine, _ *House) { t.Wishes.Accessible = true }},
		{"accessible found", Yes, func(t *Turn, m *Machine, _ *House) { t.Wishes.Accessible, m.Accessible = true, true }},
		{"lower wanted", NotLower, func(t *Turn, m *Machine, _ *House) { t.Wishes.Lower, m.Stacked = true, true }},
		{"lower found", Yes, func(t *Turn, _ *Machine, _ *House) { t.Wishes.Lower = true }},
		{"too small", TooSmall, func(t *Turn, m *Machine, _ *House) { t.Wishes.MinKg, m.CapacityKg = 8, 7 }},
		{"large enough", Yes, func(t *Turn, m *Machine, _ *House) { t.Wishes.MinKg, m.CapacityKg = 8, 8 }},
		{"size not known", Yes, func(t *Turn, _ *Machine, _ *House) { t.Wishes.MinKg = 8 }},
		{"reserved for others", Reserved, func(_ *Turn, m *Machine, _ *House) { m.ReservedFor = []HomeID{"9"} }},
		{"reserved for us", Yes, func(_ *Turn, m *Machine, _ *House) { m.ReservedFor = []HomeID{"9", "12"} }},
		{"asked for later", AskedLater, func(t *Turn, _ *Machine, _ *House) { t.NotBefore = noon.Add(time.Second) }},
		{"later has come", Yes, func(t *Turn, _ *Machine, _ *House) { t.NotBefore = noon }},
		{"wash not ready", BehindWash, func(t *Turn, _ *Machine, _ *House) { t.Behind = 7 }},
		{"missed a moment ago", RecallWait, func(t *Turn, _ *Machine, _ *House) { t.Recall = noon.Add(time.Minute) }},
		{"may be called again", Yes, func(t *Turn, _ *Machine, _ *House) { t.Recall = noon }},
		{"too many loads", LoadLimit, func(_ *Turn, _ *Machine, h *House) { h.Loads["12"] = 2 }},
		{"others' loads", Yes, func(_ *Turn, _ *Machine, h *House) { h.Loads["9"] = 5 }},
		{"no limit", Yes, func(_ *Turn, _ *Machine, h *House) { h.Limits.LoadsPerHome, h.Loads["12"] = 0, 9 }},
		{"closed", RoomClosed, func(_ *Turn, _ *Machine, h *House) { h.Hours = closedDay }},
	} {
		turn := &Turn{ID: 1, Home: "12", Need: Wash, State: Waiting}
		machine := &Machine{ID: "1", Number: 1, Kind: Washer}
		house := plainHouse()
		c.change(turn, machine, house)
		if got := turn.Eligible(machine, house, noon); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

func TestServes(t *testing.T) {
	for kind, want := range map[Kind][4]bool{
		Washer: {false, true, false, false}, Dryer: {false, false, true, false}, WasherDryer: {false, true, true, true},
	} {
		for need, w := range want {
			if got := kind.Serves(Need(need)); got != w {
				t.Errorf("%s serves %s: %v, want %v", kind, Need(need), got, w)
			}
		}
	}
}

func TestWordsRoundTrip(t *testing.T) {
	for k := Washer; k <= WasherDryer; k++ {
		roundTrip(t, k, new(Kind))
	}
	for n := Wash; n <= WashAndDry; n++ {
		roundTrip(t, n, new(Need))
	}
	for s := Waiting; s <= Left; s++ {
		roundTrip(t, s, new(State))
	}
	if got := Kind(99).String(); got != "?" {
		t.Errorf("a kind that is none reads %q", got)
	}
	if got := Verdict(0).String(); got != "?" {
		t.Errorf("no verdict reads %q", got)
	}
}

type word interface {
	comparable
	MarshalText() ([]byte, error)
	String() string
}

func roundTrip[T word](t *testing.T, v T, into interface{ UnmarshalText([]byte) error }) {
	t.Helper()
	text, err := v.MarshalText()
	if err != nil {
		t.Fatal(err)
	}
	if err := into.UnmarshalText(text); err != nil {
		t.Fatal(err)
	}
	if err := into.UnmarshalText([]byte("spoon")); err == nil {
		t.Errorf("%T reads a spoon", into)
	}
}

// FuzzWords: no text breaks the readers, and what they take they give back.
func FuzzWords(f *testing.F) {
	for _, seed := range []string{"washer", "wash-and-dry", "called", "", "?", "WASHER"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		var k Kind
		if err := k.UnmarshalText([]byte(text)); err == nil && k.String() != text {
			t.Errorf("%q reads as %q", text, k)
		}
		var n Need
		if err := n.UnmarshalText([]byte(text)); err == nil && n.String() != text {
			t.Errorf("%q reads as %q", text, n)
		}
	})
}
