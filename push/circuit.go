package push

import "time"

const (
	// tripAfter is after how many failures in a row a push service is left alone.
	tripAfter = 3
	// firstRest and longestRest bound for how long; it doubles with every
	// failure of the one message that is then tried.
	firstRest   = 10 * time.Second
	longestRest = 5 * time.Minute
)

// circuit is what is known of how a push service does. It lets one message
// through until the service has answered, so that one that is dead holds up one
// send, not a share of them; and none for a while after failures in a row.
type circuit struct {
	// proven: the service answered last time, and did not fail.
	proven bool
	fails  int
	// until is when a service that failed is tried again.
	until time.Time
}

// allows is how many sends may be under way at now.
func (c *circuit) allows(now time.Time, most int) int {
	switch {
	case now.Before(c.until):
		return 0
	case !c.proven:
		return 1
	}
	return most
}

// A class Refused is a failure of the service too: a login that is tried over
// and over gets an account locked.

// heard takes an answer, and reports whether the service is to be left alone from now on.
func (c *circuit) heard(r Result, salt string, now time.Time) bool {
	switch v := judge(r); {
	case v == hopeless && r.Status == 0:
		return false // says nothing about the service
	case v != again && r.Class != Refused, r.Status == 429, r.OnlyThis:
		*c = circuit{proven: true}
		return false
	}
	c.proven = false
	c.fails++
	rest := time.Duration(0)
	if c.fails >= tripAfter {
		rest = jitter(doubled(firstRest, longestRest, c.fails-tripAfter), salt)
	}
	if r.Status == 503 { // RFC 9110 section 15.6.4: the service as a whole asks to wait
		rest = max(rest, r.RetryAfter)
	}
	if until := now.Add(rest); rest > 0 && until.After(c.until) {
		c.until = until
	}
	return rest > 0
}
