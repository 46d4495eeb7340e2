package coordinator

import (
	"slices"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// remembered is how many lengths and delays a room keeps of each sort.
const remembered = 40

// learned is what a room has seen of lengths and delays, for forecasts. Each
// list holds the newest, oldest first.
type learned struct {
	Washes   []time.Duration `json:",omitempty"` // cycle lengths on washers
	Dries    []time.Duration `json:",omitempty"` // on dryers
	Combined []time.Duration `json:",omitempty"` // on washer-dryers
	Delays   []time.Duration `json:",omitempty"` // from told-at to collected
}

// Before any history (common practice, no source).
const (
	priorWash     = 75 * time.Minute
	priorDry      = 70 * time.Minute
	priorCombined = 180 * time.Minute
	priorDelay    = 10 * time.Minute
	walkDown      = 4 * time.Minute
)

func remember(list []time.Duration, d time.Duration) []time.Duration {
	if len(list) >= remembered {
		list = slices.Delete(list, 0, len(list)-remembered+1)
	}
	return append(list, d)
}

// learnLength remembers the length of a cycle that ran to its end.
func (r *Room) learnLength(i int, ev cycle.Event) {
	if ev.Kind != cycle.Finished {
		return
	}
	list := r.state.Learned.of(r.plan.Machines[i].Kind)
	*list = remember(*list, ev.End.Sub(ev.Start))
}

// collected remembers how long a finished load stayed. Loads forgotten for
// hours say nothing about what the next in the queue must wait for.
func (l *learned) collected(d time.Duration) {
	l.Delays = remember(l.Delays, min(d, 2*time.Hour))
}

func (l *learned) of(k queue.Kind) *[]time.Duration {
	switch k {
	case queue.Washer:
		return &l.Washes
	case queue.Dryer:
		return &l.Dries
	default:
		return &l.Combined
	}
}

// machine is the typical length of a cycle on a kind of machine.
func (l *learned) machine(k queue.Kind) time.Duration {
	switch k {
	case queue.Washer:
		return l.quantiles(l.Washes, priorWash).Median
	case queue.Dryer:
		return l.quantiles(l.Dries, priorDry).Median
	default:
		return l.quantiles(l.Combined, priorCombined).Median
	}
}

// typical is the typical length of a cycle for a need.
func (l *learned) typical(n queue.Need) time.Duration { return l.length(n).Median }

// length is the spread of the lengths for a need.
func (l *learned) length(n queue.Need) queue.Span {
	switch n {
	case queue.Wash:
		return l.quantiles(l.Washes, priorWash)
	case queue.Dry:
		return l.quantiles(l.Dries, priorDry)
	default:
		return l.quantiles(l.Combined, priorCombined)
	}
}

// quantiles are the 10th, 50th and 90th percentile of a list; around the prior
// while the list is short.
func (l *learned) quantiles(list []time.Duration, prior time.Duration) queue.Span {
	if len(list) < 3 {
		return queue.Span{Low: prior * 6 / 10, Median: prior, High: prior * 16 / 10}
	}
	sorted := slices.Sorted(slices.Values(list))
	at := func(p int) time.Duration { return sorted[(len(sorted)-1)*p/100] }
	return queue.Span{Low: at(10), Median: at(50), High: at(90)}
}
