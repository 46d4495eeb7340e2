package queue

import (
	"encoding/json"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// drawTurn is any turn of three homes.
func drawTurn(t *rapid.T) Turn {
	at := func(what string) time.Time {
		if rapid.Bool().Draw(t, what) {
			return noon.Add(time.Duration(rapid.IntRange(-60, 60).Draw(t, "minutes")) * time.Minute)
		}
		return time.Time{}
	}
	turn := Turn{
		ID: TurnID(rapid.IntRange(1, 99).Draw(t, "id")), Person: "p", Home: rapid.SampledFrom([]HomeID{"a", "b", "c"}).Draw(t, "home"),
		Need: Need(rapid.IntRange(1, 3).Draw(t, "need")), State: State(rapid.IntRange(1, 5).Draw(t, "state")), Joined: noon,
		Wishes: Wishes{
			Accessible: rapid.Bool().Draw(t, "accessible"), Lower: rapid.Bool().Draw(t, "lower"),
			MinKg: rapid.SampledFrom([]float64{0, 5, 8}).Draw(t, "kg"),
		},
		NotBefore: at("later"), Recall: at("recall"), Early: rapid.Bool().Draw(t, "early"), Returned: rapid.Bool().Draw(t, "returned"),
		Behind: uint64(rapid.IntRange(0, 2).Draw(t, "behind")), Carries: uint64(rapid.IntRange(0, 2).Draw(t, "carries")),
	}
	for range rapid.IntRange(0, 2).Draw(t, "ways") {
		turn.Ways = append(turn.Ways, Way{turn.ID + 1, rapid.SampledFrom(Overtakings()).Draw(t, "why")})
	}
	return turn
}

func drawMachine(t *rapid.T) *Machine {
	return &Machine{
		ID: "m", Number: 1, Kind: Kind(rapid.IntRange(1, 3).Draw(t, "kind")), CapacityKg: rapid.SampledFrom([]float64{0, 5, 6, 8}).Draw(t, "capacity"),
		Accessible: rapid.Bool().Draw(t, "reachable"), Stacked: rapid.Bool().Draw(t, "stacked"),
		ReservedFor: rapid.SampledFrom([][]HomeID{nil, {"a"}, {"b", "c"}}).Draw(t, "reserved"),
	}
}

// plainlyEligible is the rule as the house rules put it, a sentence each, and shares
// nothing with Eligible.
func plainlyEligible(turn *Turn, m *Machine, h *House, now time.Time, soon, counts bool) bool {
	does := map[Kind][]Need{Washer: {Wash}, Dryer: {Dry}, WasherDryer: {Wash, Dry, WashAndDry}}
	reserved := len(m.ReservedFor) == 0
	for _, home := range m.ReservedFor {
		reserved = reserved || home == turn.Home
	}
	loads := h.Loads[turn.Home]
	if counts && turn.Carries == 1 {
		loads--
	}
	wet := turn.Behind != 0 && (turn.Early || !soon)
	return turn.State == Waiting && slices.Contains(does[m.Kind], turn.Need) &&
		(m.Accessible || !turn.Wishes.Accessible) && (!m.Stacked || !turn.Wishes.Lower) &&
		(m.CapacityKg == 0 || m.CapacityKg >= turn.Wishes.MinKg) && reserved &&
		!turn.NotBefore.After(now) && !turn.Recall.After(now) && !wet &&
		(h.Limits.LoadsPerHome == 0 || loads < h.Limits.LoadsPerHome) &&
		h.Hours.MayStart(now, h.Length(turn.Need), h.Zone)
}

// TestEligibleIsTheHouseRules: over all sorts of turns, machines and houses, a turn may
// be called where the house rules say so and nowhere else; and whatever keeps it from
// a machine has a reason for those who read the log.
func TestEligibleIsTheHouseRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		turn, m, house := drawTurn(t), drawMachine(t), plainHouse()
		house.Limits.LoadsPerHome = rapid.IntRange(0, 2).Draw(t, "limit")
		house.Loads = map[HomeID]int{"a": rapid.IntRange(0, 3).Draw(t, "a"), "b": rapid.IntRange(0, 3).Draw(t, "b")}
		if rapid.Bool().Draw(t, "hours") {
			house.Hours = dayHours()
		}
		soon, counts := rapid.Bool().Draw(t, "soon"), rapid.Bool().Draw(t, "counts")
		house.Soon = func(uint64) bool { return soon }
		house.Whose = func(load uint64) HomeID {
			if counts && load == 1 {
				return turn.Home
			}
			return ""
		}
		now := noon.Add(time.Duration(rapid.IntRange(-12*60, 12*60).Draw(t, "now")) * time.Minute)
		v := turn.Eligible(m, house, now)
		if want := plainlyEligible(&turn, m, house, now, soon, counts); (v == Yes) != want {
			t.Fatalf("%+v for %+v: %s, want eligible %v", turn, m, v, want)
		}
		if v.String() == "?" {
			t.Fatalf("the verdict %d has no words", v)
		}
		if why, kept := overtakingOf[v]; !kept && v != Yes && v != NotWaiting && v != WrongKind || kept && !slices.Contains(Overtakings(), why) {
			t.Fatalf("whoever is overtaken while %q has the reason %q", v, why)
		}
		if (turn.Fits(m) == Yes) != (v != WrongKind && v != NotAccessible && v != NotLower && v != TooSmall && v != Reserved) && v != NotWaiting {
			t.Fatalf("fits says %s, eligible %s", turn.Fits(m), v)
		}
	})
}

// TestTurnIsStoredWhole: a turn that is stored and read again is the same.
func TestTurnIsStoredWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		turn := drawTurn(t)
		text, err := json.Marshal(turn)
		if err != nil {
			t.Fatal(err)
		}
		var again Turn
		if err := json.Unmarshal(text, &again); err != nil || !reflect.DeepEqual(turn, again) {
			t.Fatalf("stored %s, and read %+v (%v)", text, again, err)
		}
	})
}

// TestOldTurnIsRead: what a turn of an earlier version stored beyond what is known now
// is let go, and the turn stands.
func TestOldTurnIsRead(t *testing.T) {
	var turn Turn
	if err := json.Unmarshal([]byte(`{"ID":7,"Person":"p","Home":"h","Need":"dry","State":"waiting","MovedBack":"missed-call","Misses":1}`), &turn); err != nil ||
		turn.ID != 7 || turn.Need != Dry || turn.State != Waiting || turn.Misses != 1 || turn.Ways != nil {
		t.Errorf("read %+v, %v", turn, err)
	}
	for _, bad := range []string{`{"Need":"iron"}`, `{"State":"asleep"}`, `{"Need":""}`} {
		if err := json.Unmarshal([]byte(bad), &turn); err == nil {
			t.Errorf("%s is read", bad)
		}
	}
}

// TestWaysAreNotShared: what a snapshot has copied of a line does not change when the
// line does.
func TestWaysAreNotShared(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &crowd{guilty: map[TurnID]bool{}, returned: map[TurnID]bool{}}
		var copies []Line
		var texts [][]byte
		for range rapid.IntRange(1, 20).Draw(t, "acts") {
			switch rapid.IntRange(0, 3).Draw(t, "act") {
			case 0, 1:
				c.join(t)
			case 2:
				c.act(t)
			case 3:
				c.yield(t)
			}
			text, _ := json.Marshal(c.line)
			copies, texts = append(copies, slices.Clone(c.line)), append(texts, text)
		}
		for i, text := range texts {
			if now, _ := json.Marshal(copies[i]); string(now) != string(text) {
				t.Fatalf("a copy was\n%s and is\n%s", text, now)
			}
		}
	})
}

// TestPlaceIsTheOrderOfCalls: where one machine serves a kind of work and nobody is
// kept, the places say in which order they are called.
func TestPlaceIsTheOrderOfCalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &crowd{guilty: map[TurnID]bool{}, returned: map[TurnID]bool{}}
		for range rapid.IntRange(1, 25).Draw(t, "acts") {
			switch rapid.IntRange(0, 3).Draw(t, "act") {
			case 0, 1:
				c.join(t)
			case 2:
				c.act(t)
			case 3:
				c.yield(t)
			}
		}
		for need, m := range map[Need]*Machine{Wash: washer, Dry: dryer} {
			for place, id := range c.goes(m) {
				i := c.line.Index(id)
				crossed := slices.ContainsFunc(c.line[i].Ways, func(w Way) bool { k := c.line.Index(w.To); return k >= 0 && c.line[k].Need != need })
				if got := c.line.Place(i); got != place+1 && !crossed {
					t.Fatalf("turn %d has place %d and goes as number %d: %+v", id, got, place+1, c.line)
				}
			}
		}
	})
}
