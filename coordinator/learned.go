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
	// From the back-dated end to told-at, of the same cycles, by kind as the lengths.
	WashLags     []time.Duration `json:",omitempty"`
	DryLags      []time.Duration `json:",omitempty"`
	CombinedLags []time.Duration `json:",omitempty"`
	// Answers are how long called residents took from the begin of the hold until
	// they started the machine; noAnswer for each who did not within it.
	Answers []time.Duration `json:",omitempty"`
	// Said are the answers of those who had said that they were on their way.
	Said []time.Duration `json:",omitempty"`
}

// noAnswer is a call that was missed, among the answers.
const noAnswer time.Duration = -1

// Before any history (common practice, no source).
const (
	priorWash     = 75 * time.Minute
	priorDry      = 70 * time.Minute
	priorCombined = 180 * time.Minute
	priorDelay    = 10 * time.Minute
	priorLag      = 2 * time.Minute
	priorMissed   = 0.1
	// of those who say that they are on their way; and how many of those who do not
	// come had said it
	priorWayMissed = 0.05
	walkDown       = 4 * time.Minute
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
	list, lags := r.state.Learned.of(r.plan.Machines[i].Kind)
	*list = remember(*list, ev.End.Sub(ev.Start))
	*lags = remember(*lags, max(0, r.state.Now.Sub(ev.End)))
}

// lag is how long after its end a cycle on a kind of machine is declared finished.
func (l *learned) lag(k queue.Kind) queue.Span {
	_, lags := l.of(k)
	return l.quantiles(*lags, priorLag)
}

// answered remembers how long a called resident took to start the machine, who had
// said to be on the way or not.
func (l *learned) answered(d time.Duration, said bool) { l.answer(max(0, d), said) }

// missed remembers that a called resident did not come.
func (l *learned) missed(said bool) { l.answer(noAnswer, said) }

func (l *learned) answer(d time.Duration, said bool) {
	l.Answers = remember(l.Answers, d)
	if said {
		l.Said = remember(l.Said, d)
	}
}

// cameAfterAll takes back the newest call that was remembered as missed.
func (l *learned) cameAfterAll(said bool) {
	l.Answers = withoutMiss(l.Answers)
	if said {
		l.Said = withoutMiss(l.Said)
	}
}

// withoutMiss is a list of answers without the newest call that was missed.
func withoutMiss(answers []time.Duration) []time.Duration {
	for k := len(answers) - 1; k >= 0; k-- {
		if answers[k] == noAnswer {
			return slices.Delete(answers, k, k+1)
		}
	}
	return answers
}

// came are the answers of those who came.
func came(answers []time.Duration) []time.Duration {
	var came []time.Duration
	for _, d := range answers {
		if d >= 0 {
			came = append(came, d)
		}
	}
	return came
}

// collected remembers how long a finished load stayed. Loads forgotten for
// hours say nothing about what the next in the queue must wait for.
func (l *learned) collected(d time.Duration) {
	l.Delays = remember(l.Delays, min(d, 2*time.Hour))
}

// of are the lengths and lags of a kind of machine.
func (l *learned) of(k queue.Kind) (lengths, lags *[]time.Duration) {
	switch k {
	case queue.Washer:
		return &l.Washes, &l.WashLags
	case queue.Dryer:
		return &l.Dries, &l.DryLags
	default:
		return &l.Combined, &l.CombinedLags
	}
}

// priorLength is usual for a kind of machine before any cycle was seen.
func priorLength(k queue.Kind) time.Duration {
	switch k {
	case queue.Washer:
		return priorWash
	case queue.Dryer:
		return priorDry
	default:
		return priorCombined
	}
}

// kindFor is the kind of machine whose lengths count for a need.
func kindFor(n queue.Need) queue.Kind {
	switch n {
	case queue.Wash:
		return queue.Washer
	case queue.Dry:
		return queue.Dryer
	default:
		return queue.WasherDryer
	}
}

// machine is the typical length of a cycle on a kind of machine.
func (l *learned) machine(k queue.Kind) time.Duration {
	lengths, _ := l.of(k)
	return l.quantiles(*lengths, priorLength(k)).Median
}

// typical is the typical length of a cycle for a need.
func (l *learned) typical(n queue.Need) time.Duration { return l.machine(kindFor(n)) }

// toTold is the law of the lengths for a need from the start until the cycle is
// declared finished, which is what others wait for.
func (l *learned) toTold(n queue.Need) queue.Spread {
	kind := kindFor(n)
	lengths, lags := l.of(kind)
	usual := l.lag(kind).Median
	told := make([]time.Duration, len(*lengths))
	// Both lists end with the same cycle; rooms of old have seen fewer lags.
	for back := 1; back <= len(told); back++ {
		lag := usual
		if back <= len(*lags) {
			lag = (*lags)[len(*lags)-back]
		}
		told[len(told)-back] = (*lengths)[len(told)-back] + lag
	}
	return queue.Sampled(told, around(priorLength(kind)+usual))
}

// quantiles are the 10th, 50th and 90th percentile of a list; around the prior
// while the list is short.
func (l *learned) quantiles(list []time.Duration, prior time.Duration) queue.Span {
	if len(list) < 3 {
		return around(prior)
	}
	sorted := slices.Sorted(slices.Values(list))
	at := func(p int) time.Duration { return sorted[(len(sorted)-1)*p/100] }
	return queue.Span{Low: at(10), Median: at(50), High: at(90)}
}

// around is a wide span for a length of which only a usual value is known.
func around(prior time.Duration) queue.Span {
	return queue.Span{Low: prior * 6 / 10, Median: prior, High: prior * 16 / 10}
}
