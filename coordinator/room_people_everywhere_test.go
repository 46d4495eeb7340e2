package coordinator

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

// everywhere is a room in which anna and ben are wherever somebody can be: in the
// line, called, at work in a machine, done, sharing a load, on the table, in a load
// that was reported collected, in a call that was missed, and among the reports.
func everywhere(t *testing.T) *scene {
	s := newScene(t, func(p *Plan) {
		for k := 4; k <= 9; k++ {
			m := p.Machines[0]
			m.ID, m.Number = MachineID(rune('a'+k)), k
			p.Machines = append(p.Machines, m)
		}
		p.Seed.Limits = queue.Limits{}
	})
	for _, p := range []struct {
		who, other    PersonID
		inside, table MachineID
	}{{"anna", "ben", "w1", "e"}, {"ben", "anna", "g", "i"}} {
		home := HomeID("home-" + p.who)
		washed := func(id MachineID) {
			s.watts(id, 300)
			s.do(Claim{Machine: id, Person: p.who, Home: home})
			s.wait(30 * time.Minute)
			s.watts(id, 1)
		}
		washed(p.inside) // stays inside, with an offer to share it
		s.do(OfferShare{Machine: p.inside, Person: p.who, Home: home, Hash: "h-" + string(p.who)})
		s.do(ReportFault{Machine: p.inside, Person: p.who, Home: home, Text: "It hums."})
		s.join(string(p.who), queue.Wash) // used up, and collected
		turn := s.room.state.Turns[len(s.room.state.Turns)-1]
		s.cycle(turn.Machine, 30*time.Minute)
		s.do(OfferShare{Machine: turn.Machine, Person: p.who, Home: home, Hash: "s"})
		s.do(ShareLoad{Hash: "s", Person: p.other, Home: HomeID("home-" + p.other)})
		s.do(Collect{Machine: turn.Machine, Person: p.who, Home: home})
		s.do(TakeOut{Machine: turn.Machine}) // the next one's goes elsewhere
		washed(p.table)
		s.do(Collect{Machine: p.table, OnTable: true})
		s.do(OfferShare{Machine: p.inside, Person: p.who, Home: home, Hash: "h"})
		s.do(ShareLoad{Hash: "h", Person: p.other, Home: HomeID("home-" + p.other)})
	}
	for _, who := range []string{"anna", "ben"} {
		s.join(who, queue.Wash) // not answered
	}
	s.wait(10 * time.Minute)
	for _, who := range []string{"anna", "ben"} {
		s.join(who, queue.Wash)
		s.do(OfferShare{Machine: map[string]MachineID{"anna": "w1", "ben": "g"}[who], Person: PersonID(who), Hash: "offer-" + who})
	}
	return s
}

// stateText is a room's state as it is stored.
func stateText(t *testing.T, r *Room) string {
	t.Helper()
	data, err := json.Marshal(&r.state)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// named counts how often a name is in a text.
func named(text, name string) int {
	return len(regexp.MustCompile(`"`+name+`"`).FindAllString(text, -1))
}

// TestEverywhere: the room of these tests has everybody everywhere.
func TestEverywhere(t *testing.T) {
	s := everywhere(t)
	var lapsed, emptied, turns int
	for _, m := range s.room.state.Machines {
		if m.Lapsed != nil {
			lapsed++
		}
		if m.Emptied != nil && len(m.Emptied.Shared) == 1 {
			emptied++
		}
		if m.EmptiedTurn != nil {
			turns++
		}
	}
	if lapsed < 2 || emptied < 2 || turns < 2 || len(s.room.state.Table) != 2 || len(s.room.state.Loads) < 2 || len(s.room.state.Turns) != 4 {
		t.Fatalf("%d missed calls, %d shared loads taken out, %d turns of such, %d on the table, %d loads, %d turns",
			lapsed, emptied, turns, len(s.room.state.Table), len(s.room.state.Loads), len(s.room.state.Turns))
	}
}

// TestMovedOutIsNowhere: whoever has moved out is nowhere in the room any more but
// among the homes that reported a fault, and everybody else is where they were.
func TestMovedOutIsNowhere(t *testing.T) {
	for _, ev := range []MovedOut{{Home: "home-anna"}, {Person: "anna"}} {
		s := everywhere(t)
		s.left = []string{}
		before := stateText(t, s.room)
		shot := s.room.Snapshot(s.now)
		shown, _ := json.Marshal(shot.Machines)
		s.do(ev)
		after := stateText(t, s.room)
		if n := named(after, "anna"); n != 0 {
			t.Errorf("anna is still named %d times:\n%s", n, after)
		}
		if n := named(after, "home-anna"); n != 1 {
			t.Errorf("anna's home is named %d times, want once, with its report:\n%s", n, after)
		}
		// With a load of anna's that was taken out goes ben's share in it.
		if was, is := named(before, "ben"), named(after, "ben"); is != was-1 {
			t.Errorf("ben was named %d times, is %d times", was, is)
		}
		if strings.Contains(after, "offer-anna") || !strings.Contains(after, "offer-ben") {
			t.Error("the offer to share the load is not the one that it was")
		}
		if again, _ := json.Marshal(shot.Machines); string(again) != string(shown) {
			t.Error("a snapshot of before has changed")
		}
		if !slices.Contains(s.left, "take back load/1") {
			t.Error("what is unsent about anna's load is not taken back")
		}
		if l := s.room.load(1); l.Owner != "" || l.Home != "" || l.Turn != 0 || len(l.Shared) != 1 {
			t.Errorf("the load that stays is %+v, want nobody's, shared with ben", l)
		}
	}
}

// TestBlockedLosesTurnsOnly: whoever is blocked keeps the loads that are theirs.
func TestBlockedLosesTurnsOnly(t *testing.T) {
	s := everywhere(t)
	loads, table := len(s.room.state.Loads), s.room.state.Table[0]
	s.do(MovedOut{Home: "home-anna", TurnsOnly: true})
	if l := s.room.load(1); l.Owner != "anna" || len(s.room.state.Loads) != loads || s.room.state.Table[0] != table {
		t.Errorf("load 1 is %+v, the table %+v", l, s.room.state.Table)
	}
	for _, turn := range s.room.state.Turns {
		if turn.Person == "anna" {
			t.Errorf("anna still has the turn %+v", turn)
		}
	}
}

// TestMergedIsEverywhere: a person, or a home, that becomes one with another is the
// other one wherever it was, and nothing else changes.
func TestMergedIsEverywhere(t *testing.T) {
	for _, c := range []struct {
		name string
		ev   Merged
		as   *strings.Replacer
	}{
		// A person takes their home along, but what their home reported stays the home's.
		{"a person", Merged{Person: "anna", Home: "home-anna", Into: "zoe", IntoHome: "home-zoe"}, strings.NewReplacer(
			`"anna"`, `"zoe"`, `"home-anna","Text"`, `"home-anna","Text"`, `"home-anna"`, `"home-zoe"`)},
		{"a home", Merged{Home: "home-anna", IntoHome: "home-zoe"}, strings.NewReplacer(`"home-anna"`, `"home-zoe"`)},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := everywhere(t)
			before := stateText(t, s.room)
			shot := s.room.Snapshot(s.now)
			shown, _ := json.Marshal(shot.Machines)
			s.left = []string{}
			set, _, err := s.room.Step(s.now, c.ev)
			if err != nil || len(set.Rows) == 0 {
				t.Fatalf("it stores %+v (%v)", set.Rows, err)
			}
			if got, want := stateText(t, s.room), c.as.Replace(before); got != want {
				t.Errorf("the room is\n%s\nwant\n%s", got, want)
			}
			if again, _ := json.Marshal(shot.Machines); string(again) != string(shown) {
				t.Error("a snapshot of before has changed")
			}
			if set, _, _ := s.room.Step(s.now, c.ev); set.Moves() {
				t.Errorf("told twice it changes %+v", set)
			}
		})
	}
}

// TestMergedWithASharer: who becomes the owner shares with nobody; of two sharers
// that become one home both stay, since they are two people.
func TestMergedWithASharer(t *testing.T) {
	for _, c := range []struct {
		name string
		ev   Merged
		left int
	}{
		{"the sharer is the owner", Merged{Person: "na", Home: "home-na", Into: "anna", IntoHome: "home-anna"}, 1},
		{"the sharer's home is the owner's", Merged{Home: "home-na", IntoHome: "home-anna"}, 1},
		{"the owner is the sharer", Merged{Person: "anna", Home: "home-anna", Into: "na", IntoHome: "home-na"}, 1},
		{"others are others", Merged{Home: "home-x", IntoHome: "home-y"}, 2},
	} {
		s := newScene(t, nil)
		both(called("anna"), power("w1", 300), sharedBy(2))(s)
		s.do(c.ev)
		if l := s.room.load(1); len(l.Shared) != c.left {
			t.Errorf("%s: the load is shared with %+v, want %d", c.name, l.Shared, c.left)
		}
	}
}

// TestMergedHomesHoldLonger: a home for which machines are kept longer stays one in
// another; that is a version of the rules, which says for whom.
func TestMergedHomesHoldLonger(t *testing.T) {
	for _, c := range []struct {
		name  string
		homes []HomeID
		want  []HomeID
		rules bool
	}{
		{"it was", []HomeID{"home-a", "home-anna"}, []HomeID{"home-a", "home-zoe"}, true},
		{"both were", []HomeID{"home-zoe", "home-a", "home-anna"}, []HomeID{"home-a", "home-zoe"}, true},
		{"only the other was", []HomeID{"home-zoe"}, []HomeID{"home-zoe"}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, func(p *Plan) { p.Seed.LongerHoldHomes = c.homes })
			s.left = []string{}
			s.do(Merged{Home: "home-anna", IntoHome: "home-zoe"})
			rules, version := s.room.state.Rules, s.room.state.RulesVersion
			if strings.Join(texts(rules.LongerHoldHomes), " ") != strings.Join(texts(c.want), " ") {
				t.Errorf("machines are kept longer for %v, want %v", rules.LongerHoldHomes, c.want)
			}
			if changed := version == 2 && len(s.room.versions) == 2; changed != c.rules {
				t.Errorf("version %d, %d versions are kept", version, len(s.room.versions))
			}
			if c.rules && strings.Join(s.left, "\n") != "log rules of home-zoe: longer hold" {
				t.Errorf("the log says %q", s.left)
			}
			if !c.rules && len(s.left) != 0 {
				t.Errorf("the log says %q", s.left)
			}
		})
	}
}

// texts are homes as texts.
func texts(homes []HomeID) []string {
	var out []string
	for _, h := range homes {
		out = append(out, string(h))
	}
	return out
}
