package demo

import (
	"math/rand/v2"
	"testing"

	"drumturn/coordinator"
)

func TestResidents(t *testing.T) {
	for seed := range uint64(20) {
		all := newResidents(rand.New(rand.NewPCG(seed, 1)))
		ids := map[coordinator.PersonID]bool{}
		homes := map[coordinator.HomeID]float64{}
		rooms := map[coordinator.HomeID]coordinator.RoomID{}
		for _, r := range all {
			if ids[r.id] {
				t.Errorf("seed %d: two are %s", seed, r.id)
			}
			ids[r.id] = true
			homes[r.home] += r.weekly
			if was, ok := rooms[r.home]; ok && was != r.room {
				t.Errorf("seed %d: home %s has two rooms", seed, r.name)
			}
			rooms[r.home] = r.room
			if r.taps < 0 || r.taps > 1 || r.misses < 0 || r.misses > 0.5 || r.late < 1 {
				t.Errorf("seed %d: habits %+v", seed, r)
			}
		}
		for home, weekly := range homes {
			if weekly < washesPerHome-1e-9 || weekly > washesPerHome+1e-9 {
				t.Errorf("seed %d: home %s washes %v a week", seed, home, weekly)
			}
		}
		if len(homes) != cellarHomes+gardenHomes || !ids[Visitor] {
			t.Errorf("seed %d: %d homes", seed, len(homes))
		}
	}
}

// No session of an invented resident can be opened: their hashes all differ, and
// only the visitor has the one that was given.
func TestOnlyTheVisitorHasASession(t *testing.T) {
	town := New(1, noon, zone)
	hashes := map[string]coordinator.PersonID{}
	for _, ev := range town.peopleEvents("visitor's", noon) {
		join, ok := ev.(coordinator.JoinBuilding)
		if !ok {
			continue
		}
		if who, taken := hashes[join.SessionHash]; taken {
			t.Errorf("%s and %s share a session", who, join.NewID)
		}
		hashes[join.SessionHash] = join.NewID
		if (join.NewID == Visitor) != (join.SessionHash == "visitor's") {
			t.Errorf("%s has session %q", join.NewID, join.SessionHash)
		}
		if join.NewID != Visitor && len(join.SessionHash) != 64 {
			t.Errorf("%s has a hash of %d letters", join.NewID, len(join.SessionHash))
		}
	}
	if len(hashes) != len(town.residents) {
		t.Errorf("%d sessions for %d residents", len(hashes), len(town.residents))
	}
}
