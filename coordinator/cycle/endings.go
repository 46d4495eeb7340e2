package cycle

import "time"

// endings is how long after its last strong phase (a washer's last spin, a
// dryer's last heat) this machine's programmes end: a coasting drum and a few
// loosening turns, or a cool-down. It varies little from cycle to cycle, so a
// stop that comes sooner is a pause, and one that comes then is the end.
type endings struct {
	// After are the times of the newest cycles.
	After [endingsKept]time.Duration
	// N is how many cycles there were, None how many ended without a strong phase.
	N, None int
}

const endingsKept = 12

// add takes the time from a cycle's last strong phase to its end.
func (e *endings) add(d time.Duration) {
	e.After[e.N%endingsKept] = d
	e.N++
}

func (e *endings) known() []time.Duration { return e.After[:min(e.N, endingsKept)] }

// alike is how many of the n known ends came so long after, give or take slack.
func (e *endings) alike(d, slack time.Duration) (alike, n int) {
	for _, a := range e.known() {
		if d >= a-slack && d <= a+slack {
			alike++
		}
	}
	return alike, len(e.known())
}

// soonest is the shortest time known; 0 when none is.
func (e *endings) soonest() time.Duration {
	var least time.Duration
	for i, a := range e.known() {
		if i == 0 || a < least {
			least = a
		}
	}
	return least
}
