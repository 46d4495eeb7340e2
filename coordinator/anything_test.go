package coordinator

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// happens is all that may happen to a room.
func (a *anything) happens() map[string]func(*rapid.T) {
	acts := map[string]func(){
		"join": a.join, "join too": a.join, "turn": a.turn, "at machine": a.atMachine, "called": a.called, "owner": a.owner,
		"run": a.run, "run too": a.run, "whole": a.whole, "supply": a.supply, "meters": a.meters, "clock": a.clock,
		"rules": a.rules, "bad rules": a.badRules, "share": a.share, "table": a.table, "on the way": a.onTheWay, "guess": a.guess,
		"pass":   func() { a.pass(time.Duration(rapid.IntRange(1, 90).Draw(a.rt, "minutes")) * time.Minute) },
		"reopen": func() { a.reopen(time.Duration(rapid.IntRange(0, 60).Draw(a.rt, "down")) * time.Minute) },
	}
	steps := map[string]func(*rapid.T){}
	for name, act := range acts {
		steps[name] = func(*rapid.T) { act() }
	}
	return steps
}

// TestAnything holds a room to its promises over 1400 histories in which anything
// may happen, with the program killed between any two steps, before and after the
// commit; and after each, nobody ever taps again.
func TestAnything(t *testing.T) {
	did := map[string]int{}
	defer func() { t.Logf("what happened: %v", did) }()
	histories(t, 14, func(rt *rapid.T) {
		a := anyRoom(rt, did)
		rt.Repeat(a.happens())
		a.nobodyEverTapsAgain()
		did["histories"]++
	}, func() []string { return neverDid(did, everything()) })
}

// everything is what the histories must have come by.
func everything() []string {
	list := []string{"refused", "reopened", "killed before the commit", "clock", "supply"}
	for _, reason := range []string{"missed", "let next", "start taken back", "call taken back"} {
		list = append(list, "overtook: "+reason)
	}
	for _, kind := range []FactKind{
		FactJoined, FactLeft, FactCalled, FactMissed, FactPassed, FactStarted, FactWalkUp, FactCycle, FactClaimed, FactNotMine,
		FactCollected, FactStillIn, FactNudged, FactFault, FactOut, FactBack, FactSilent, FactHeard, FactSupply, FactRules,
		FactAssumed, FactForgotten, FactOvertook, FactMoreTime, FactTestRun,
		FactTakenBack, FactForgiven, FactChose, FactShared, FactFetched, FactOnWay,
	} {
		list = append(list, "fact "+string(kind))
	}
	for _, kind := range append(ResidentKinds(), ManagerKinds()...) {
		if kind != LevelsChanged { // what an engine learns is not of these histories
			list = append(list, "notice "+string(kind))
		}
	}
	return list
}
