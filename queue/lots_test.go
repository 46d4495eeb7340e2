package queue

import (
	"math"
	"testing"
)

// TestMix64: the first values of SplitMix64 from the state 0, as printed with its
// published reference code. MEMORY.
func TestMix64(t *testing.T) {
	const golden = 0x9e3779b97f4a7c15
	for i, want := range []uint64{0xe220a8397b1dcdaf, 0x6e789e6aa1b965f4, 0x06c45d188009454f} {
		if got := mix64(uint64(i) * (golden & math.MaxUint64)); got != want {
			t.Errorf("value %d is %x, want %x", i, got, want)
		}
	}
}

// TestHashID: FNV-1a of nothing and of "a", from its authors' list. MEMORY.
func TestHashID(t *testing.T) {
	if hashID("") != 0xcbf29ce484222325 || hashID("a") != 0xaf63dc4c8601ec8c {
		t.Errorf("%x and %x", hashID(""), hashID("a"))
	}
}

// TestCellsAreHypercube: over all rounds, the draws for one key hit each part once.
func TestCellsAreHypercube(t *testing.T) {
	for bits := uint(4); bits <= 10; bits++ {
		l := lots{7, bits}
		for id := range uint64(200) {
			seen := make([]bool, l.rounds())
			for round := range l.rounds() {
				c := l.cell(l.key(1, id), round)
				if c < 0 || c >= cells || seen[c>>(10-bits)] {
					t.Fatalf("%d rounds, key %d: cell %d is hit twice or out of range", l.rounds(), id, c)
				}
				seen[c>>(10-bits)] = true
			}
		}
	}
}

// TestCellsAreEven: in one round, over many keys, all cells are as likely.
// Chi-squared with 1023 degrees of freedom stays below 1168 in 999 of 1000 cases
// (by its normal approximation).
func TestCellsAreEven(t *testing.T) {
	for _, bits := range []uint{4, 7, 8} {
		l := lots{99, bits}
		for _, round := range []int{0, 1, 11} {
			counts := make([]float64, cells)
			const each = 100
			for id := range uint64(each * cells) {
				counts[l.cell(l.key(2, id), round)]++
			}
			chi := 0.0
			for _, c := range counts {
				chi += (c - each) * (c - each) / each
			}
			if chi > 1168 {
				t.Errorf("%d rounds, round %d: chi-squared %.1f", l.rounds(), round, chi)
			}
		}
	}
}

// TestCellsAreIndependent: the draws for two keys are not correlated, neither over
// rounds nor for the same thing's several chances. The mean correlation of many
// pairs stays within four standard errors of nothing, that of single pairs has the
// spread of chance, 1/sqrt(n), within a fifth.
func TestCellsAreIndependent(t *testing.T) {
	for _, bits := range []uint{4, 7, 8} {
		l := lots{3, bits}
		const pairs = 4000
		sum, squares := 0.0, 0.0
		for id := range uint64(pairs) {
			r := correlation(l, l.key(1, id), l.key(1+id%2, id+id%2^1))
			sum, squares = sum+r, squares+r*r
		}
		n := float64(l.rounds())
		if mean := sum / pairs; math.Abs(mean) > 4/math.Sqrt(n*pairs) {
			t.Errorf("%g rounds: mean correlation %.4f", n, mean)
		}
		if spread := math.Sqrt(squares/pairs) * math.Sqrt(n); spread < 0.8 || spread > 1.2 {
			t.Errorf("%g rounds: single correlations spread %.2f times as much as chance", n, spread)
		}
	}
}

func correlation(l lots, a, b uint64) float64 {
	sum, n := 0.0, float64(l.rounds())
	for round := range l.rounds() {
		sum += (share(l.cell(a, round)) - 0.5) * (share(l.cell(b, round)) - 0.5)
	}
	return sum / n * 12
}

// TestLotsAreNamed: the draw for a thing does not depend on others, but on the seed.
func TestLotsAreNamed(t *testing.T) {
	a, b := lots{1, 8}, lots{2, 8}
	if a.key(1, 5) != (lots{1, 7}).key(1, 5) || a.key(1, 5) == b.key(1, 5) || a.key(1, 5) == a.key(2, 5) || a.key(1, 5) == a.key(1, 6) {
		t.Error("keys are not told apart")
	}
}
