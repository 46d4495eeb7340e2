package queue

import (
	"errors"
	"fmt"
	"math"
)

// ErrOverload says that arrivals come at least as fast as all machines together
// can serve them, so that the line grows without end and has no mean.
var ErrOverload = errors.New("more arrives than the machines can serve")

// mostServers bounds the counts of the closed forms: more than any room has, and
// few enough to be added up at once.
const mostServers = 1_000_000

// ErlangB is the share of arrivals that find every one of the servers busy, when
// whoever finds them busy goes away. load is the offered load in erlangs:
// arrivals per time times mean length.
//
// Source: the loss formula of A. K. Erlang (1917), by its stable recurrence
// B(0) = 1, B(c) = a B(c-1) / (c + a B(c-1)).
func ErlangB(servers int, load float64) (float64, error) {
	if err := checkCount("servers", servers); err != nil {
		return 0, err
	}
	if err := checkRate("offered load", load, true); err != nil {
		return 0, err
	}
	b := 1.0
	for c := 1; c <= servers; c++ {
		b = load * b / (float64(c) + load*b)
	}
	if math.IsNaN(b) {
		// load*b left the numbers: with as much as that offered, all is lost.
		return 1, nil
	}
	return b, nil
}

// ErlangC is the share of arrivals that must wait, when nobody goes away. load is
// the offered load in erlangs; at or above the number of servers the error is
// ErrOverload.
//
// Source: the delay formula of A. K. Erlang (1917), as
// C = B / (1 - rho (1 - B)) with rho = a/c and B from ErlangB.
func ErlangC(servers int, load float64) (float64, error) {
	b, err := ErlangB(servers, load)
	if err != nil {
		return 0, err
	}
	rho := load / float64(servers)
	if rho >= 1 {
		return 0, fmt.Errorf("%d servers for %g erlangs: %w", servers, load, ErrOverload)
	}
	return b / (1 - rho*(1-b)), nil
}

// checkCount refuses counts that are no count or out of reason.
func checkCount(what string, n int) error {
	if n < 1 || n > mostServers {
		return fmt.Errorf("%d %s: give 1 to %d", n, what, mostServers)
	}
	return nil
}

// checkRate refuses rates that are no finite number above zero; zero itself
// passes where it is allowed.
func checkRate(what string, v float64, zero bool) error {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return fmt.Errorf("%s %g: give a finite number", what, v)
	case v < 0 || v == 0 && !zero:
		return fmt.Errorf("%s %g: give a number above zero", what, v)
	}
	return nil
}
