package coordinator

import (
	"errors"
	"reflect"
	"slices"
	"testing"
	"time"

	"drumturn/queue"
)

// TestRefuse: the sentence with its values in it, and apart from it what pages need to
// say it in another language.
func TestRefuse(t *testing.T) {
	for _, c := range []struct {
		sentence string
		args     []any
		want     string
	}{
		{"It is closed.", nil, "It is closed."},
		{"A name of {most} letters, {most}.", []any{"most", 60}, "A name of 60 letters, 60."},
		{"{a} before {b}", []any{"a", "{b}", "b", time.Minute}, "1m0s before 1m0s"},
		{"{a} and {b}", []any{"a", 1}, "1 and {b}"},
		{"{a} and {odd}", []any{"a", 1, "odd"}, "1 and {odd}"},
	} {
		got := Refuse(OverLimit, "some.key", c.sentence, c.args...)
		if got.Error() != c.want || got.Text != c.want || got.Code != OverLimit || got.Key != "some.key" || !reflect.DeepEqual(got.Args, c.args) {
			t.Errorf("%q with %v is %+v, want %q", c.sentence, c.args, got, c.want)
		}
	}
}

// TestMoves: a set changes state by any of its parts, but not by readings alone.
func TestMoves(t *testing.T) {
	for name, c := range map[string]struct {
		set  ChangeSet
		want bool
	}{
		"nothing":      {ChangeSet{Unit: "cellar", Expect: 3, At: noon}, false},
		"readings":     {ChangeSet{Readings: make([]MachineReading, 2)}, false},
		"a row":        {ChangeSet{Rows: make([]Row, 1)}, true},
		"a checkpoint": {ChangeSet{Checkpoints: make([]MachineCheckpoint, 1)}, true},
		"a notice":     {ChangeSet{Notices: make([]Notice, 1)}, true},
		"a withdrawal": {ChangeSet{Withdraw: make([]Subject, 1)}, true},
		"a fact":       {ChangeSet{Facts: make([]Fact, 1)}, true},
		"some of each": {ChangeSet{Rows: make([]Row, 1), Checkpoints: make([]MachineCheckpoint, 1), Notices: make([]Notice, 1), Withdraw: make([]Subject, 1), Facts: make([]Fact, 1)}, true},
	} {
		if got := c.set.Moves(); got != c.want {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// TestPutAndDrop: a row has its value as JSON, a deleted one none; what does not encode
// is a mistake of the program, and not stored.
func TestPutAndDrop(t *testing.T) {
	var set ChangeSet
	set.Put("home", "h", Home{ID: "h", Name: "12", Joined: noon})
	set.Drop("home", "i")
	want := []Row{{"home", "h", []byte(`{"ID":"h","Name":"12","Joined":"2026-06-10T12:00:00Z"}`)}, {"home", "i", nil}}
	if !reflect.DeepEqual(set.Rows, want) {
		t.Errorf("rows %q", set.Rows)
	}
	defer func() {
		if recover() == nil || len(set.Rows) != 2 {
			t.Error("what does not encode is a row")
		}
	}()
	set.Put("home", "j", func() {})
}

// TestSubjects: how a notice's subject is written in keys, which are stored.
func TestSubjects(t *testing.T) {
	for _, c := range []struct {
		notice Notice
		key    string
		thread string
	}{
		{Notice{Subject: Subject{Room: "a", Load: 17}, Kind: LoadReady, To: "anna"}, "a/load/17/load-ready/0/anna", "a/load/17"},
		{Notice{Subject: Subject{Room: "a", Load: 17}, Kind: LoadNudge, Step: 12, To: "anna"}, "a/load/17/load-nudge/12/anna", "a/load/17"},
		{Notice{Subject: Subject{Room: "a", Load: 17, Turn: 3, Machine: "w1"}, Kind: LoadFault, To: "anna"}, "a/load/17/load-fault/0/anna", "a/load/17/load-fault"},
		{Notice{Subject: Subject{Room: "a", Turn: 23}, Kind: TurnCalled, Step: 2, To: "anna"}, "a/turn/23/turn-called/2/anna", "a/turn/23"},
		{Notice{Subject: Subject{Room: "a", Machine: "w1"}, Kind: MeterSilent, Role: Managers}, "a/machine/w1/meter-silent/0/@managers", "a/machine/w1/meter-silent"},
		{Notice{Subject: Subject{Room: "a", Machine: "w1"}, Kind: FaultTold, To: "boss", Role: Managers}, "a/machine/w1/fault-told/0/boss", "a/machine/w1/fault-told"},
	} {
		if key, thread := c.notice.Key(), c.notice.Thread(); key != c.key || thread != c.thread {
			t.Errorf("%+v has the key %q and the thread %q, want %q and %q", c.notice, key, thread, c.key, c.thread)
		}
	}
	one, other := Notice{To: "anna", Role: Managers}, Notice{To: "anna"}
	if one.SameAddressee(&other) {
		t.Error("a role besides a person makes no difference")
	}
}

// TestWordsOfNotices: the kinds as they are stored and switched off by, in their order.
func TestWordsOfNotices(t *testing.T) {
	residents := []NoticeKind{
		"turn-called", "turn-missed", "turn-ended", "turn-returned", "turn-closed", "turn-passed", "load-begun", "load-ready", "load-nudge", "load-waiting", "load-moved", "load-taken", "load-fault",
	}
	managers := []NoticeKind{"load-left", "fault-told", "machine-out", "walk-up-told", "meter-silent", "levels-changed"}
	if !slices.Equal(ResidentKinds(), residents) || !slices.Equal(ManagerKinds(), managers) {
		t.Errorf("residents get %q, managers %q", ResidentKinds(), ManagerKinds())
	}
	if MailDevice("anna") != "mail:anna" {
		t.Errorf("the address of anna is the device %q", MailDevice("anna"))
	}
}

// TestPublicEventIsWhole: all that other programs are told of a fact.
func TestPublicEventIsWhole(t *testing.T) {
	at := time.Date(2026, 6, 10, 14, 0, 0, 0, time.FixedZone("", 7200)) // noon
	start, end, energy, peak := at.Add(-time.Hour), at, 500.0, 2000.0
	fact := Fact{At: at, Kind: FactCycle, Machine: "w1", Person: "anna", Cycle: 5, Start: start, End: end, EnergyWh: energy, PeakW: peak, Note: "finished"}
	utcStart, utcEnd := start.UTC(), end.UTC()
	f := StoredFact{ID: FactID{noon, 9}, Fact: fact}
	want := PublicEvent{ID: "1781092800000000000-9", At: noon, Room: "cellar", Kind: FactCycle, Machine: "w1", Detail: "finished", Cycle: 5, Start: &utcStart, End: &utcEnd, EnergyWh: &energy, PeakW: &peak}
	if got, ok := f.Public("cellar"); !ok || !reflect.DeepEqual(got, want) {
		t.Errorf("a cycle is told as\n%+v, want\n%+v", got, want)
	}
	f.Fact = Fact{At: at, Kind: FactCalled, Machine: "w1", Person: "anna", Wait: 90 * time.Second, Note: "typed", Cycle: 5}
	want = PublicEvent{ID: "1781092800000000000-9", At: noon, Room: "cellar", Kind: FactCalled, Machine: "w1", WaitS: 90}
	if got, ok := f.Public("cellar"); !ok || !reflect.DeepEqual(got, want) {
		t.Errorf("a call is told as\n%+v, want\n%+v", got, want)
	}
	f.Kind = FactClaimed
	if got, ok := f.Public("cellar"); ok || !reflect.DeepEqual(got, PublicEvent{}) {
		t.Errorf("a claim is told as %+v", got)
	}
	detailed := []FactKind{FactJoined, FactTakenBack, FactCycle, FactCollected, FactSupply}
	for _, kind := range PublicKinds() {
		f.Kind, f.Note = kind, "a word"
		if got, _ := f.Public("cellar"); (got.Detail == "a word") != slices.Contains(detailed, kind) {
			t.Errorf("of %s is told %q", kind, got.Detail)
		}
	}
}

// TestFactIDsOfOthers: what no fact has is refused as what it is, and told.
func TestFactIDsOfOthers(t *testing.T) {
	for _, text := range []string{"-5-1", "5", "a-1", "1-b", "1-"} {
		id, err := ParseFactID(text)
		refusal, ok := errors.AsType[*Error](err)
		if !ok || refusal.Code != Invalid || refusal.Key != "fact.id" || !id.IsZero() {
			t.Errorf("%q: %v, %v", text, id, err)
		}
	}
	for _, c := range []struct {
		id   FactID
		text string
	}{{FactID{}, ""}, {FactID{time.Unix(0, 0).UTC(), 3}, "0-3"}, {FactID{time.Unix(0, 5).UTC(), 0}, "5-0"}, {FactID{time.Unix(0, 0).UTC(), 0}, "0-0"}} {
		back, err := ParseFactID(c.id.String())
		if c.id.String() != c.text || err != nil || back != c.id || c.id.IsZero() != (c.text == "") {
			t.Errorf("%+v is %q, and read again %+v, %v", c.id, c.id.String(), back, err)
		}
	}
	if id := (FactID{N: 4}); id.IsZero() {
		t.Error("a number without an instant is none")
	}
}

// TestRulesOfEarlierRooms: what came later than a stored room is taken from its seed,
// all of it and nothing else.
func TestRulesOfEarlierRooms(t *testing.T) {
	seed := Rules{
		Hold: 1, LongerHold: 2, LongerHoldHomes: []HomeID{"h"}, DryCallAhead: 3, OnMyWayAdds: 4, Grace: 5, Ladder: []LadderStep{{6, TellOwner}}, Limits: queue.Limits{TurnsPerHome: 7},
		NightFrom: 8, NightTo: 9, CallUncollectedAfter: 10, AssumeEmptyAfter: 11, RecallAfter: 12, NotMeWithin: 13, MoreTime: 14, MoreTimeWaiting: 15, WalkUps: Reported,
		OpenHomes: true, WallTouch: true, KeepDays: 16, PerHomeFigures: true, Text: "text",
	}
	want := Rules{LongerHold: 2, LongerHoldHomes: []HomeID{"h"}, DryCallAhead: 3, OnMyWayAdds: 4, MoreTime: 14, MoreTimeWaiting: 15, WalkUps: Reported, WallTouch: true, PerHomeFigures: true, Text: "text"}
	got := seed.since()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("taken are %+v, want %+v", got, want)
	}
	if got.LongerHoldHomes[0] = "x"; seed.LongerHoldHomes[0] != "h" {
		t.Error("the seed changes with what was taken from it")
	}
}

// TestHoldFor: those who need more time have it, and never less than others.
func TestHoldFor(t *testing.T) {
	for _, c := range []struct {
		hold, longer time.Duration
		home         HomeID
		want         time.Duration
	}{{10, 20, "slow", 20}, {10, 20, "quick", 10}, {30, 20, "slow", 30}, {30, 20, "quick", 30}, {10, 0, "slow", 10}} {
		r := Rules{Hold: c.hold, LongerHold: c.longer, LongerHoldHomes: []HomeID{"other", "slow"}}
		if got := r.HoldFor(c.home); got != c.want {
			t.Errorf("%+v: %d", c, got)
		}
	}
}
