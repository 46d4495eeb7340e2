package queue

import (
	"fmt"
	"math"
)

// Steady describes a waiting line in the long run. Times are in the unit that
// the rates were given per: rates per hour give hours.
type Steady struct {
	// P0 is the share of time in which nobody is there at all.
	P0 float64
	// Delayed is the share of arrivals that must wait.
	Delayed float64
	// Busy is the mean share of the servers that work, 0 to 1.
	Busy float64
	// Through is how many are served per time.
	Through float64
	// Lq and L are the mean numbers waiting, and waiting or served.
	Lq, L float64
	// Wq and W are the mean times waiting, and waiting or served.
	Wq, W float64

	// drain is the rate at which the waits of those who wait end, per time; 0
	// where the law of the waits is not known.
	drain float64
}

// WaitOver is the share of arrivals that wait longer than t. It is known for
// MMc only, where it is C exp(-(c mu - lambda) t) (Erlang 1917); ok is false for
// the other models and for a t that is no time.
func (s Steady) WaitOver(t float64) (share float64, ok bool) {
	if s.drain <= 0 || math.IsNaN(t) || t < 0 {
		return 0, false
	}
	return s.Delayed * math.Exp(-s.drain*t), true
}

// MMc is the line in front of servers with exponential lengths and arrivals at
// random: Kendall's M/M/c. arrivals and services are rates per time, services
// that of one server. The error is ErrOverload when the line has no mean.
//
// Source: Erlang's delay formula with Little's law, L = lambda W:
// Wq = C / (c mu - lambda), and P0 = C (1 - rho) c! / a^c.
func MMc(servers int, arrivals, services float64) (Steady, error) {
	if err := checkRates(arrivals, services); err != nil {
		return Steady{}, err
	}
	load := arrivals / services
	c, err := ErlangC(servers, load)
	if err != nil {
		return Steady{}, err
	}
	n := float64(servers)
	s := Steady{P0: 1, Delayed: c, Busy: load / n, Through: arrivals, drain: n*services - arrivals}
	if load > 0 && c > 0 {
		// In logarithms, as a^c and c! leave the numbers from 171 servers on.
		factorial, _ := math.Lgamma(n + 1)
		s.P0 = math.Min(1, math.Exp(math.Log(c)+math.Log1p(-s.Busy)+factorial-n*math.Log(load)))
	}
	return s.fill(c/s.drain, services)
}

// MGc is an approximation of the line in front of servers whose lengths follow
// any law, arrivals at random: M/G/c. scv is the squared coefficient of variation
// of the lengths: 0 for a fixed length, 1 for the exponential law.
//
// Source: Lee and Longton (1959), which is the formula of Allen and Cunneen for
// random arrivals: Wq = Wq(M/M/c) (1 + scv) / 2. It is exact for one server
// (Pollaczek and Khinchine). For several and fixed or evenly spread lengths it is
// too low by 2 to 11 %, for scv above 1 too high: 12 % for a lognormal law of
// scv 2.25. Delayed and P0 are those of M/M/c, an approximation too.
func MGc(servers int, arrivals, services, scv float64) (Steady, error) {
	if err := checkRate("squared coefficient of variation", scv, true); err != nil {
		return Steady{}, err
	}
	s, err := MMc(servers, arrivals, services)
	if err != nil {
		return Steady{}, err
	}
	s.drain = 0
	return s.fill(s.Wq*(1+scv)/2, services)
}

// fill derives the other means from the mean wait by Little's law, and refuses
// results that are no numbers.
func (s Steady) fill(wq, services float64) (Steady, error) {
	s.Wq, s.W = wq, wq+1/services
	s.Lq, s.L = s.Through*s.Wq, s.Through*s.W
	return s.numbers(services)
}

// numbers refuses results that have left the numbers.
func (s Steady) numbers(services float64) (Steady, error) {
	for _, v := range [...]float64{s.P0, s.Delayed, s.Busy, s.Through, s.Lq, s.L, s.Wq, s.W} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Steady{}, fmt.Errorf("services of %g per time are too far from the arrivals, or too near to them, to reckon with", services)
		}
	}
	return s, nil
}

func checkRates(arrivals, services float64) error {
	if err := checkRate("arrivals", arrivals, true); err != nil {
		return err
	}
	return checkRate("services", services, false)
}
