package coordinator

import (
	"testing"

	"pgregory.net/rapid"
)

// histories plays rounds of random histories, one round in a short run. What they
// must all have come by is what missing leaves: chance may leave out what is rare, so
// up to twice as many rounds are added, and only what still never happened is a
// sign that the histories are too tame.
func histories(t *testing.T, rounds int, play func(*rapid.T), missing func() []string) {
	t.Helper()
	most := 3 * rounds
	if testing.Short() {
		rounds, most = 1, 1
	}
	for done := 0; done < rounds || done < most && len(missing()) > 0; done++ {
		rapid.Check(t, play)
		if t.Failed() {
			return
		}
	}
	for _, what := range missing() {
		if !testing.Short() {
			t.Errorf("the histories are too tame: %s never happened", what)
		}
	}
}

// neverDid lists which of these never happened.
func neverDid(did map[string]int, names []string) []string {
	var never []string
	for _, name := range names {
		if did[name] == 0 {
			never = append(never, name)
		}
	}
	return never
}

// TestHistoriesAreNotTame: what happens late is waited for, and no longer than it takes.
func TestHistoriesAreNotTame(t *testing.T) {
	if testing.Short() {
		t.Skip("a short run has one round")
	}
	played := 0
	histories(t, 2, func(*rapid.T) { played++ }, func() []string {
		if played < 250 { // a round is of 100
			return []string{"the rare"}
		}
		return nil
	})
	if played != 300 {
		t.Errorf("%d histories were played for what happens in the third round", played)
	}
	if got := neverDid(map[string]int{"a": 1, "b": 0}, []string{"a", "b", "c"}); len(got) != 2 || got[0] != "b" || got[1] != "c" {
		t.Errorf("never did %v", got)
	}
}
