package queue

import (
	"fmt"
	"math"
)

// Finite is the line of a house with a known number of homes, each of which
// comes back some time after it was served: Kendall's M/M/c//K, the honest model
// of a laundry room. eager is the rate at which one home comes while it neither
// waits nor is served, services the rate of one server, both per time.
//
// Delayed is the share of arrivals that must wait, as those who arrive see it.
//
// Source: the machine repair model (Palm 1947), from the balance of the birth and
// death rates, p(n) = p(n-1) (K-n+1) lambda / (min(n, c) mu).
func Finite(servers, homes int, eager, services float64) (Steady, error) {
	if err := checkCount("servers", servers); err != nil {
		return Steady{}, err
	}
	if err := checkCount("homes", homes); err != nil {
		return Steady{}, err
	}
	if err := checkRates(eager, services); err != nil {
		return Steady{}, err
	}
	load := eager / services
	if math.IsInf(load, 0) {
		return Steady{}, fmt.Errorf("rates of %g and %g per time are too far apart to reckon with", eager, services)
	}
	b := countStates(servers, homes, load)
	s := Steady{P0: b.none / b.all, L: b.there / b.all, Lq: b.waiting / b.all}
	s.Busy = b.busy / b.all / float64(servers)
	s.Through = services * b.busy / b.all
	s.W = 1 / services
	if s.Through > 0 {
		s.Wq, s.Delayed = s.Lq/s.Through, b.late/b.home
		s.W += s.Wq
	}
	return s.numbers(services)
}

// balance holds sums over the numbers present, each weighted by its chance times
// one unknown factor, which every ratio of two sums is free of.
type balance struct {
	all, none, there, waiting, busy float64
	// home sums those who may still arrive, late those of them who will find all busy.
	home, late float64
}

// countStates adds up the states of the finite model. Weights are scaled down
// before they leave the numbers; what then falls to zero had no share in the sums.
func countStates(servers, homes int, load float64) balance {
	const large = 1e200
	var b balance
	w := 1.0
	for n := 0; n <= homes; n++ {
		if n > 0 {
			w *= float64(homes-n+1) * load / float64(min(n, servers))
		} else {
			b.none = w
		}
		if n == 0 || w > 0 {
			b.add(n, servers, homes, w)
		}
		if w > large {
			b.scale(1 / w)
			w = 1
		}
	}
	return b
}

func (b *balance) add(n, servers, homes int, w float64) {
	b.all += w
	b.there += w * float64(n)
	b.busy += w * float64(min(n, servers))
	b.home += w * float64(homes-n)
	if n >= servers {
		b.waiting += w * float64(n-servers)
		b.late += w * float64(homes-n)
	}
}

func (b *balance) scale(f float64) {
	for _, p := range [...]*float64{&b.all, &b.none, &b.there, &b.waiting, &b.busy, &b.home, &b.late} {
		*p *= f
	}
}
