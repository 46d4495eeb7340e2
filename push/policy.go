package push

import (
	"errors"
	"hash/fnv"
	"net/http"
	"time"
)

// verdict is what an answer of a push service means.
type verdict uint8

const (
	served   verdict = iota + 1 // the service has the message
	gone                        // the subscription has ended: forget it
	tooLarge                    // shorten the message, then give up
	again                       // try later
	refused                     // our fault or a wrong set-up: stop and alarm, keep the subscription
	hopeless                    // this message cannot be sent to this device
)

// verdicts are what the classes of other services mean.
var verdicts = map[Class]verdict{Taken: served, Again: again, Never: hopeless, Refused: refused}

// judge is the status policy.
func judge(r Result) verdict {
	switch {
	case r.Class != 0:
		return verdicts[r.Class]
	case errors.Is(r.Err, ErrUnsendable), errors.Is(r.Err, ErrAddress):
		return hopeless
	case r.Err != nil || r.Status == 0:
		return again
	case r.Status >= 200 && r.Status < 300:
		return served
	case r.Status >= 300 && r.Status < 400:
		return hopeless // a redirect is never followed
	case r.Status >= 500:
		return again
	}
	switch r.Status {
	case http.StatusNotFound, http.StatusGone:
		return gone
	case http.StatusRequestEntityTooLarge:
		return tooLarge
	case http.StatusTooManyRequests, http.StatusRequestTimeout:
		return again
	}
	return refused
}

// The back-off between tries at one device.
const (
	firstRetry   = 2 * time.Second
	longestRetry = 5 * time.Minute
)

// backOff is the wait after so many tries (from 1): it doubles up to
// longestRetry, and is stretched by up to a quarter, the same for the same
// salt, so that what failed together does not come back together.
func backOff(tries int, salt string) time.Duration {
	return jitter(doubled(firstRetry, longestRetry, tries-1), salt)
}

// doubled is first, doubled so many times, and at most longest.
func doubled(first, longest time.Duration, times int) time.Duration {
	if times >= 8 {
		return longest
	}
	return min(first<<max(times, 0), longest)
}

// jitter stretches wait by up to a quarter, the same for the same salt.
func jitter(wait time.Duration, salt string) time.Duration {
	h := fnv.New32a()
	_, _ = h.Write([]byte(salt))
	return wait + wait/4*time.Duration(h.Sum32()%1000)/1000
}

// nextTry is when to try again, or zero when that would be too late: after the
// back-off, and never sooner than the service asks for.
func nextTry(r Result, tries int, salt string, now, until time.Time) time.Time {
	wait := max(backOff(tries, salt), r.RetryAfter)
	if at := now.Add(wait); at.Before(until) {
		return at
	}
	return time.Time{}
}
