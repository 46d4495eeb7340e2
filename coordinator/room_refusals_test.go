package coordinator

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

// sharedBy lets anna share the load in w1 with so many neighbours.
func sharedBy(n int) func(*scene) {
	return func(s *scene) {
		for k := range n {
			hash := string(rune('a' + k))
			s.do(OfferShare{Machine: "w1", Person: "anna", Home: "home-anna", Hash: hash})
			s.do(ShareLoad{Hash: hash, Person: PersonID("n" + hash), Home: HomeID("home-n" + hash)})
		}
	}
}

// TestRefusals: what a room refuses, of what class the refusal is, and what is put
// into its sentence. A refusal changes nothing.
func TestRefusals(t *testing.T) {
	started := both(called("anna"), power("w1", 300))
	byHand := event(ByHand{Machine: "w1", On: true})
	many := strings.Repeat("é", 401)
	for _, c := range []struct {
		name string
		plan func(*Plan)
		when func(*scene)
		do   Event
		code Code
		key  string
		args []any
	}{
		{"no such machine", nil, nil, Door{Machine: "w9", Open: true}, NotFound, "machine.unknown", []any{"machine", MachineID("w9")}},
		{"a load that is in no machine", nil, washes, Collect{Load: 7, Person: "anna"}, Conflict, "load.gone", nil},
		{"a load that nobody took out", nil, washes, StillInside{Load: 1, Person: "anna"}, NotFound, "still.none", nil},
		{"a stranger joins", nil, nil, Join{Home: "home-anna", Need: queue.Wash}, NotAllowed, "join.stranger", nil},
		{"somebody of no home joins", nil, nil, Join{Person: "anna", Need: queue.Wash}, NotAllowed, "join.stranger", nil},
		{"a third turn of a home", nil, called("anna", "anna"), Join{Person: "sister", Home: "home-anna", Need: queue.Wash}, OverLimit, "join.limit", []any{"most", 2}},
		{
			"a guest's second turn", nil, called("anna"), Join{Person: "anna", Home: "home-anna", Need: queue.Wash, Guest: true},
			OverLimit, "join.guest", []any{"most", GuestTurns},
		},
		{"work that no machine does", oneWasher, nil, Join{Person: "anna", Home: "home-anna", Need: queue.Dry}, Invalid, "join.impossible", nil},
		{"no dryer to book", oneWasher, nil, Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true}, Invalid, "join.impossible", nil},
		{"a turn that never was", nil, nil, Leave{Turn: 1, Person: "anna"}, NotFound, "turn.gone", nil},
		{"a turn that is used", nil, started, Leave{Turn: 1, Person: "anna"}, NotFound, "turn.gone", nil},
		{"another home's turn", nil, called("anna"), Leave{Turn: 1, Person: "ben", Home: "home-ben"}, NotAllowed, "turn.foreign", nil},
		{"another's turn, of no home", nil, called("anna"), NotNow{Turn: 1, Person: "ben"}, NotAllowed, "turn.foreign", nil},
		{"nobody behind", nil, called("anna"), LetNext{Turn: 1, Person: "anna"}, Conflict, "turn.nobody-next", nil},
		{"not now, until now", nil, called("anna"), NotNow{Turn: 1, Person: "anna", Until: noon}, Invalid, "turn.later-range", nil},
		{"not now, for longer than a day", nil, called("anna"), NotNow{Turn: 1, Person: "anna", Until: noon.Add(24*time.Hour + 1)}, Invalid, "turn.later-range", nil},
		{"on the way to nothing", oneWasher, called("anna", "ben"), OnMyWay{Turn: 2, Person: "ben"}, Conflict, "way.not-called", nil},

		{"a stranger claims", nil, power("w1", 300), Claim{Machine: "w1"}, NotAllowed, "claim.stranger", nil},
		{"nothing to claim", nil, nil, Claim{Machine: "w1", Person: "ben"}, Conflict, "claim.empty", nil},
		{"claimed before", nil, started, Claim{Machine: "w1", Person: "ben", Home: "home-ben"}, Conflict, "claim.taken", nil},
		{"not the one it was taken for", nil, started, NotMe{Machine: "w1", Person: "ben"}, NotFound, "notme.none", nil},
		{"not me, of a load that used no turn", nil, both(power("w1", 300), event(Claim{Machine: "w1", Person: "anna"})), NotMe{Machine: "w1", Person: "anna"}, NotFound, "notme.none", nil},
		{"not me, of nothing", nil, nil, NotMe{Machine: "w1", Person: "ben"}, NotFound, "notme.none", nil},
		{"not me, too late", nil, both(started, pass(15*time.Minute+time.Second)), NotMe{Machine: "w1", Person: "anna"}, Conflict, "notme.late", []any{"within", 15 * time.Minute}},
		{"nothing to take out", nil, nil, Collect{Machine: "w1"}, Conflict, "collect.empty", nil},
		{"taken out of a machine at work", nil, started, Collect{Machine: "w1", Person: "anna"}, Conflict, "collect.running", nil},
		{"a load named by a stranger", nil, washes, Collect{Load: 1, Person: "ben", Home: "home-ben"}, NotAllowed, "collect.foreign", nil},
		{"the next load is in", nil, both(washes, event(Collect{Machine: "w1"}), power("w1", 300)), StillInside{Machine: "w1", Person: "anna"}, Conflict, "still.next", nil},
		{"nothing was taken out", nil, nil, StillInside{Machine: "w1", Person: "anna"}, NotFound, "still.none", nil},
		{"taken out more than a day ago", nil, both(washes, event(Collect{Machine: "w1"}), pass(24*time.Hour+time.Second)), StillInside{Machine: "w1", Person: "anna"}, NotFound, "still.none", nil},
		{"another's was taken out", nil, both(washes, event(Collect{Machine: "w1"})), StillInside{Machine: "w1", Person: "ben", Home: "home-ben"}, NotAllowed, "still.foreign", nil},
		{"not on the table", nil, washes, Fetched{Load: 1, Person: "anna"}, NotFound, "table.gone", nil},
		{"another's on the table", nil, both(washes, event(Collect{Machine: "w1", OnTable: true})), Fetched{Load: 1, Person: "ben", Home: "home-ben"}, NotAllowed, "table.foreign", nil},
		{"a stranger at the table", nil, both(power("w1", 300), pass(time.Hour), power("w1", 1), event(Collect{Machine: "w1", OnTable: true})), Fetched{Load: 1}, NotAllowed, "table.foreign", nil},
		{"nothing forgotten there", nil, both(washes, event(Collect{Machine: "w1", OnTable: true})), Fetched{Manager: true, Forgotten: true}, NotFound, "table.gone", nil},

		{"more time for another's", nil, washes, MoreTime{Machine: "w1", Person: "ben"}, NotFound, "more.none", nil},
		{"more time for nothing", nil, nil, MoreTime{Machine: "w1", Person: "ben"}, NotFound, "more.none", nil},
		{"more time too early", nil, started, MoreTime{Machine: "w1", Person: "anna"}, Conflict, "more.running", nil},
		{"more time twice", nil, both(washes, event(MoreTime{Machine: "w1", Person: "anna"})), MoreTime{Machine: "w1", Person: "anna"}, OverLimit, "more.once", nil},
		{"more time after somebody was called", oneWasher, both(called("anna", "ben"), func(s *scene) { s.cycle("w1", time.Hour) }, pass(46*time.Minute)), MoreTime{Machine: "w1", Person: "anna"}, Conflict, "more.called", nil},
		{"a house that gives none", func(p *Plan) { p.Seed.MoreTime = 0 }, washes, MoreTime{Machine: "w1", Person: "anna"}, NotAllowed, "more.never", nil},
		{"a house that gives none while somebody waits", oneWasher, both(called("anna", "ben"), func(s *scene) { s.cycle("w1", time.Hour) }), MoreTime{Machine: "w1", Person: "anna"}, NotAllowed, "more.waited-for", nil},
		{"a dryer behind another's", nil, started, DryAfter{Machine: "w1", Person: "ben"}, NotFound, "dry-after.none", nil},
		{"a dryer behind nothing", nil, nil, DryAfter{Machine: "w1", Person: "ben"}, NotFound, "dry-after.none", nil},
		{"a dryer behind a dryer", nil, both(func(s *scene) { s.join("anna", queue.Dry) }, power("d3", 300)), DryAfter{Machine: "d3", Person: "anna"}, Invalid, "dry-after.dryer", nil},
		{"a dryer too late", nil, washes, DryAfter{Machine: "w1", Person: "anna"}, Conflict, "dry-after.ready", nil},
		{"a second dryer", nil, both(dryAfter, power("w1", 300)), DryAfter{Machine: "w1", Person: "anna"}, Conflict, "dry-after.twice", nil},

		{"sharing another's", nil, started, OfferShare{Machine: "w1", Person: "ben", Hash: "h"}, NotFound, "share.none", nil},
		{"sharing without a code", nil, started, OfferShare{Machine: "w1", Person: "anna"}, Invalid, "share.code", nil},
		{"sharing with a fourth", nil, both(started, sharedBy(3)), OfferShare{Machine: "w1", Person: "anna", Hash: "h"}, OverLimit, "share.full", []any{"n", 3}},
		{"a stranger shares", nil, nil, ShareLoad{Hash: "h", Person: "ben"}, NotAllowed, "share.stranger", nil},
		{"a wrong code", nil, started, ShareLoad{Hash: "h", Person: "ben", Home: "home-ben"}, NotFound, "share.wrong", nil},
		{"no code", nil, started, ShareLoad{Person: "ben", Home: "home-ben"}, NotFound, "share.wrong", nil},
		{"a code taken twice", nil, both(started, sharedBy(1)), ShareLoad{Hash: "a", Person: "ben", Home: "home-ben"}, NotFound, "share.wrong", nil},
		{"one's own", nil, both(started, event(OfferShare{Machine: "w1", Person: "anna", Hash: "h"})), ShareLoad{Hash: "h", Person: "sister", Home: "home-anna"}, Conflict, "share.own", nil},

		{"a fault in no words", nil, nil, ReportFault{Machine: "w1", Text: " \n "}, Invalid, "fault.text", []any{"most", 400}},
		{"a fault in too many", nil, nil, ReportFault{Machine: "w1", Text: many}, Invalid, "fault.text", []any{"most", 400}},
		{"out, in too many", nil, nil, TakeOut{Machine: "w1", Text: many}, Invalid, "out.text", []any{"most", 400}},
		{"looked after, in no text at all", nil, nil, LookedAfter{Machine: "w1", Text: "\xff"}, Invalid, "looked.text", []any{"most", 400}},
		{"not out of turn", nil, power("w1", 300), NoteWalkUp{Machine: "w1"}, Conflict, "walk-up.none", nil},
		{"no load at all", nil, nil, NoteWalkUp{Machine: "w1"}, Conflict, "walk-up.none", nil},
		{"nothing is learned", nil, nil, ForgetLearned{Machine: "w1"}, Conflict, "learned.none", nil},

		{"by hand, of a meter", nil, nil, StartByHand{Machine: "w1"}, Conflict, "hand.metered", nil},
		{"by hand, at work", nil, both(byHand, event(StartByHand{Machine: "w1"})), StartByHand{Machine: "w1"}, Conflict, "hand.running", nil},
		{"by hand, kept for somebody", nil, both(byHand, called("anna")), StartByHand{Machine: "w1", Person: "ben", Home: "home-ben"}, Conflict, "hand.held", []any{"until", "12:10"}},
		{"by hand, kept for somebody of a home", nil, both(byHand, called("anna")), StartByHand{Machine: "w1", Person: "ben"}, Conflict, "hand.held", []any{"until", "12:10"}},
		{"by hand, idle", nil, byHand, EndByHand{Machine: "w1"}, Conflict, "hand.idle", nil},
		{"an end by hand, of a meter", nil, started, EndByHand{Machine: "w1"}, Conflict, "hand.idle", nil},

		{"longer for no home", nil, nil, HoldLonger{On: true}, Invalid, "longer.home", nil},
		{"rules changed meanwhile", nil, nil, SetRules{Version: 2, Rules: DefaultRules()}, Conflict, "rules.changed", nil},
		{"merged into no home", nil, nil, Merged{Person: "anna", Into: "ben"}, Invalid, "merge.same", nil},
		{"merged into nobody", nil, nil, Merged{Person: "anna", IntoHome: "home-ben"}, Invalid, "merge.same", nil},
		{"nobody merged", nil, nil, Merged{Into: "ben", IntoHome: "home-ben"}, Invalid, "merge.same", nil},
		{"no home merged", nil, nil, Merged{IntoHome: "home-ben"}, Invalid, "merge.same", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, c.plan)
			if c.when != nil {
				c.when(s)
			}
			s.do(Tick{})
			set, reply, err := s.room.Step(s.now, c.do)
			refusal, ok := err.(*Error)
			if !ok || refusal.Code != c.code || refusal.Key != c.key || len(refusal.Args) != len(c.args) || len(c.args) > 0 && !reflect.DeepEqual(refusal.Args, c.args) {
				t.Fatalf("it is refused with %#v, want code %d, %q and %v", err, c.code, c.key, c.args)
			}
			if set.Moves() || reply != (Reply{}) {
				t.Errorf("the refusal changes %+v and replies %+v", set, reply)
			}
			if refusal.Text == "" || strings.Contains(refusal.Text, "{") {
				t.Errorf("the sentence is %q", refusal.Text)
			}
		})
	}
}

// TestInvalidRulesAreRefused with the place, what is wrong there and what is right.
func TestInvalidRulesAreRefused(t *testing.T) {
	s := newScene(t, nil)
	rules := s.room.state.Rules.clone()
	rules.Hold = -time.Minute
	problem := rules.Validate()[0]
	_, err := s.try(SetRules{Rules: rules})
	refusal, ok := err.(*Error)
	if !ok || refusal.Code != Invalid || refusal.Key != "rules.invalid" ||
		!reflect.DeepEqual(refusal.Args, []any{"path", problem.Path, "wrong", problem.Wrong, "right", problem.Right}) {
		t.Fatalf("it is refused with %#v", err)
	}
}

// TestJustAllowed: what is at the edge of what is refused, and taken.
func TestJustAllowed(t *testing.T) {
	for _, c := range []struct {
		name string
		when func(*scene)
		do   Event
	}{
		{"not now, for a day", called("anna"), NotNow{Turn: 1, Person: "anna", Until: noon.Add(24 * time.Hour)}},
		{"not now, for a moment", called("anna"), NotNow{Turn: 1, Person: "anna", Until: noon.Add(1)}},
		{"not me, at the last moment", func(s *scene) {
			called("anna")(s)
			s.watts("w1", 300)
			s.now = s.room.load(1).StartedAt.Add(15 * time.Minute)
		}, NotMe{Machine: "w1", Person: "anna"}},
		{"still inside, at the last moment", func(s *scene) {
			washes(s)
			s.do(Collect{Machine: "w1"})
			s.now = s.now.Add(24 * time.Hour)
		}, StillInside{Machine: "w1", Person: "anna"}},
		{"a fault in as many words as may be", nil, ReportFault{Machine: "w1", Text: strings.Repeat("é", 400)}},
		{"out, in no words", nil, TakeOut{Machine: "w1", Text: " "}},
		{"sharing with a third", both(called("anna"), power("w1", 300), sharedBy(2)), OfferShare{Machine: "w1", Person: "anna", Hash: "h"}},
		{"a guest's first turn", called("anna"), Join{Person: "guest", Home: "home-anna", Need: queue.Wash, Guest: true}},
		{"by hand, kept for the home", both(event(ByHand{Machine: "w1", On: true}), called("anna")), StartByHand{Machine: "w1", Person: "sister", Home: "home-anna"}},
		{"by hand, kept for the person", both(event(ByHand{Machine: "w1", On: true}), called("anna")), StartByHand{Machine: "w1", Person: "anna"}},
		{"of the table, by anybody what is nobody's", both(power("w1", 300), pass(time.Hour), power("w1", 1), event(Collect{Machine: "w1", OnTable: true})), Fetched{Load: 1, Person: "ben"}},
		{"of the table, by a manager", both(washes, event(Collect{Machine: "w1", OnTable: true})), Fetched{Load: 1, Manager: true}},
		{"of the table, by the home", both(washes, event(Collect{Machine: "w1", OnTable: true})), Fetched{Load: 1, Person: "sister", Home: "home-anna"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, nil)
			if c.when != nil {
				c.when(s)
			}
			s.do(c.do)
		})
	}
}
