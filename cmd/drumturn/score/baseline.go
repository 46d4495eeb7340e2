package score

import (
	"time"

	"drumturn/coordinator/cycle"
)

// The fixed rule (common practice, no source): above 3 W started, below 3 W for
// 3 minutes finished; a hole of more than 10 minutes ends a cycle.
const (
	fixedW    = 3.0
	fixedFor  = 3 * time.Minute
	fixedHole = 10 * time.Minute
)

// fixedRule finds cycles by the fixed rule. It shares no code with the engines.
func fixedRule(rs []cycle.Reading) []Cycle {
	var out []Cycle
	var start, low, last time.Time
	end := func(at, declared time.Time) {
		out = append(out, Cycle{Start: start, End: at, Declared: declared, Kind: cycle.Finished})
		start, low = time.Time{}, time.Time{}
	}
	for _, r := range rs {
		running := !start.IsZero()
		if running && r.At.Sub(last) > fixedHole {
			end(last, r.At)
			running = false
		}
		switch {
		case running && r.Watts < fixedW:
			if low.IsZero() {
				low = r.At
			}
			if r.At.Sub(low) >= fixedFor {
				end(low, r.At)
			}
		case running:
			low = time.Time{}
		case r.Watts > fixedW:
			start = r.At
		}
		last = r.At
	}
	if !start.IsZero() {
		at := last
		if !low.IsZero() {
			at = low
		}
		out = append(out, Cycle{Start: start, End: at, AtEndOfFile: true})
	}
	return out
}
