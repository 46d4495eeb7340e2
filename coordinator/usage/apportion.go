package usage

import (
	"slices"

	"github.com/shopspring/decimal"

	"drumturn/coordinator"
)

// apportion divides a whole amount, in the smallest units of a currency with so
// many digits, over parts as their exact amounts are, so that the shares add up to
// the whole to the last unit: each part gets its whole units, and what is left
// over goes, a unit each, to those with the largest remainders; of equal ones to
// the first. (The method of largest remainders, named after Hamilton and Hare.)
//
// The whole is what the parts round to, or differs from it by few units, since it
// may be a share itself.
func apportion(whole int64, parts []decimal.Decimal, digits int) []int64 {
	shares := make([]int64, len(parts))
	rests := make([]decimal.Decimal, len(parts))
	order := make([]int, len(parts))
	left := whole
	for i, p := range parts {
		units := p.Shift(int32(digits))
		floor := units.Floor()
		shares[i], rests[i], order[i] = floor.IntPart(), units.Sub(floor), i
		left -= shares[i]
	}
	if len(parts) == 0 {
		return shares
	}
	slices.SortStableFunc(order, func(a, b int) int { return rests[b].Cmp(rests[a]) })
	spread(shares, order, left)
	return shares
}

// spread gives units to the shares, or takes them where there are too many: one
// each, the first in order first to get and last to give.
func spread(shares []int64, order []int, units int64) {
	n := int64(len(order))
	each := units / n
	units %= n
	for i := range shares {
		shares[i] += each
	}
	for i := range units {
		shares[order[i]]++
	}
	for i := range -units {
		shares[order[n-1-i]]--
	}
}

// rounded is an exact amount in the smallest units.
func rounded(exact decimal.Decimal, digits int, how coordinator.Rounding) int64 {
	if how == coordinator.HalfEven {
		return exact.RoundBank(int32(digits)).Shift(int32(digits)).IntPart()
	}
	return exact.Round(int32(digits)).Shift(int32(digits)).IntPart()
}

func total(parts []decimal.Decimal) decimal.Decimal {
	sum := decimal.Zero
	for _, p := range parts {
		sum = sum.Add(p)
	}
	return sum
}
