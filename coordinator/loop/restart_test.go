package loop

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

// TestRestartsChangeNothing runs a building for days with residents who act at
// random, beside one that is stopped and opened again at random and is told the
// same. Both must end up with the same turns, loads and notices.
func TestRestartsChangeNothing(t *testing.T) {
	days := 4
	if testing.Short() {
		days = 1
	}
	for seed := range uint64(2) {
		synctest.Test(t, func(t *testing.T) {
			random := rand.New(rand.NewPCG(seed, 7))
			steady, restarted := open(t, newFakeStore(), Wall{}), open(t, newFakeStore(), Wall{})
			restarts := 0
			for step := range days * 24 * 2 {
				watts := drawWatts(random, step)
				ev := drawEvent(random, steady.Snapshot("cellar"))
				for m := range 60 {
					time.Sleep(30 * time.Second)
					if m == 17 && ev != nil {
						_, a := steady.Do(t.Context(), "cellar", ev)
						_, b := restarted.Do(t.Context(), "cellar", ev)
						if fmt.Sprint(a) != fmt.Sprint(b) {
							t.Fatalf("seed %d, step %d: %T was answered %v and %v", seed, step, ev, a, b)
						}
					}
					steady.watts(watts)
					restarted.watts(watts)
				}
				if random.IntN(12) == 0 {
					restarts++
					if err := restarted.stop(); err != nil {
						t.Fatal(err)
					}
					restarted = open(t, restarted.store, Wall{})
				}
			}
			synctest.Wait()
			if restarts == 0 {
				t.Fatal("there was no restart")
			}
			wantSameRoom(t, seed, steady, restarted)
		})
	}
}

// drawWatts is a wash of up to an hour and a half, or standby.
func drawWatts(random *rand.Rand, step int) float64 {
	if step > 1 && random.IntN(5) < 2 {
		return 300
	}
	return 1
}

// drawEvent is what some resident does now; nil for nothing.
func drawEvent(random *rand.Rand, s *coordinator.Snapshot) coordinator.Event {
	switch random.IntN(6) {
	case 0, 1:
		return washJoin(random.IntN(5))
	case 2:
		return coordinator.Collect{Machine: "w1"}
	case 3:
		if len(s.Turns) > 0 {
			turn := s.Turns[random.IntN(len(s.Turns))]
			return coordinator.Leave{Turn: turn.ID, Person: coordinator.PersonID(turn.Person), Home: coordinator.HomeID(turn.Home)}
		}
	case 4:
		i := random.IntN(5)
		join := washJoin(i)
		return coordinator.Claim{Machine: "w1", Person: join.Person, Home: join.Home}
	}
	return nil
}

func wantSameRoom(t *testing.T, seed uint64, a, b *house) {
	t.Helper()
	x, y := a.Snapshot("cellar"), b.Snapshot("cellar")
	if fmt.Sprint(x.Turns) != fmt.Sprint(y.Turns) {
		t.Errorf("seed %d: turns\n%+v\n%+v", seed, x.Turns, y.Turns)
	}
	if p, q := x.Machines[0], y.Machines[0]; p.Status != q.Status || fmt.Sprintf("%+v", p.Load) != fmt.Sprintf("%+v", q.Load) {
		t.Errorf("seed %d: %s with %+v, and %s with %+v", seed, p.Status, p.Load, q.Status, q.Load)
	}
	if p, q := a.store.notices(), b.store.notices(); !slices.Equal(p, q) || len(p) == 0 {
		t.Errorf("seed %d: %d notices and %d", seed, len(p), len(q))
	}
	if p, q := a.store.readings("cellar"), b.store.readings("cellar"); p == 0 || p-q > 1 || q-p > 1 {
		t.Errorf("seed %d: %d readings stored and %d", seed, p, q)
	}
}
