package cycle

import (
	"math"
	"time"
)

// pauseBins count pauses by length: from 5 s on, each bin a fifth longer.
const (
	pauseBins  = 40
	pauseLeast = 5 * time.Second
	pauseRatio = 1.2
)

// pauses is what a machine's pauses are like: how many of which length a cycle
// has, and where. Out of it comes the chance that a lull which has lasted for
// some time is only a pause.
//
// Among lulls that last at least s, let a cycle have on average pauses(s) after
// which it goes on, and ends after which it does not; then the chance that this
// one goes on is pauses(s) / (pauses(s) + ends). The lengths are pooled from all
// pauses of the machine, with a power-law tail from common practice worth
// pausePrior pauses, so that a new machine is judged by its kind and an old one
// by itself (the empirical survival function with a Dirichlet prior: A. Gelman
// et al., Bayesian Data Analysis, 3rd ed. 2013, ch. 3.4).
type pauses struct {
	// Seen counts all pauses, Near those of a programme's end, by length.
	Seen, Near [pauseBins]float64
	// Away, After and Close are how many pauses there were before a strong
	// phase, after one, and at the programme's end.
	Away, After, Close float64
	// Sum is the length of all pauses, s.
	Sum float64
	// Cycles is how many cycles that was.
	Cycles float64
}

// place is where in a programme a lull begins.
type place struct {
	// Near is the chance that the programme was at its end.
	Near float64
	// Amid is the chance that it was in the midst of a programme that is known.
	Amid float64
	// After says that it follows a strong phase: a spin, or a dryer's heat.
	After bool
}

const (
	pausePrior = 10
	// A pause near the end may be this much longer than any seen.
	pauseStretch = 1.25
	// strayLeast is how many ends a cycle has where none is expected: somebody
	// switches the machine off.
	strayLeast = 0.01
	// needMost is for how long a machine that does nothing may be thought to
	// pause.
	needMost = 40 * time.Minute
)

func pauseBin(d time.Duration) int { return int(pauseBinAt(d)) }

// pauseBinAt is the bin of d, and how far within it on the logarithm.
func pauseBinAt(d time.Duration) float64 {
	if d < pauseLeast {
		return 0
	}
	return min(pauseBins-1, math.Log(float64(d)/float64(pauseLeast))/math.Log(pauseRatio))
}

// add counts a pause after which the cycle went on.
func (p *pauses) add(d time.Duration, at place) { p.count(d, at, 1) }

// forget takes back a pause that has turned out to be an end.
func (p *pauses) forget(d time.Duration, at place) { p.count(d, at, -1) }

func (p *pauses) count(d time.Duration, at place, n float64) {
	if d < pauseLeast {
		return
	}
	b := pauseBin(d)
	p.Seen[b] += n
	p.Sum += n * min(d, drawnMost).Seconds()
	switch {
	case at.Near >= 0.5:
		p.Near[b] += n
		p.Close += n
	case at.After:
		p.After += n
	default:
		p.Away += n
	}
}

// ended counts a finished cycle and lets old ones fade.
func (p *pauses) ended() {
	const fade = 0.97
	for i := range p.Seen {
		p.Seen[i] *= fade
		p.Near[i] *= fade
	}
	p.Away, p.After, p.Close = p.Away*fade, p.After*fade, p.Close*fade
	p.Sum *= fade
	p.Cycles = p.Cycles*fade + 1
}

// tail is how many of the counted pauses lasted at least d, those of a bin being
// spread evenly over it.
func tail(counts *[pauseBins]float64, d time.Duration) (n float64) {
	at := pauseBinAt(d)
	b := int(at)
	for _, v := range counts[b:] {
		n += v
	}
	return n - (at-float64(b))*counts[b]
}

// habit is what the pauses of a kind of machine are like, before any is seen.
type habit struct {
	away, after, close float64       // pauses a cycle
	scale              time.Duration // of the tail
	power              float64
	strayEnd           float64       // ends a cycle away from the programme's end
	cadence            time.Duration // how often its meter reports
}

func habitOf(s Settings) habit {
	if s.Washer {
		return habit{away: 10, after: 2, close: 1, scale: 12 * time.Second, power: 2.3, strayEnd: 0.05}
	}
	return habit{away: 3, after: 1, close: 0.5, scale: 8 * time.Second, power: 2.5, strayEnd: 0.1}
}

// usual is the share of such a machine's pauses that last at least d.
func (h habit) usual(d time.Duration) float64 {
	if d <= pauseLeast {
		return 1
	}
	return math.Pow(1+float64(d-pauseLeast)/float64(h.scale), -h.power)
}

// goesOn is the chance that a lull of length d which began at a place is a pause,
// where something else favours a pause so many times.
func (p *pauses) goesOn(d time.Duration, at place, h habit, favour float64) float64 {
	seen := tail(&p.Seen, pauseLeast)
	longer := (tail(&p.Seen, d) + pausePrior*h.usual(d)) / (seen + pausePrior)
	longer = max(longer, p.drawn(d, seen, h))
	rest := p.Away + h.away
	if at.After {
		rest = p.After + h.after
	}
	shrunk := max(pauseLeast, time.Duration(float64(d)/pauseStretch))
	close := (p.Close+h.close)*longer + tail(&p.Near, shrunk)
	// Away from its end a programme may well rest as low as after it: a soak.
	away := max(favour, math.Cbrt(favour))
	on := (away*(1-at.Near)*rest*longer + favour*at.Near*close) / (p.Cycles + 1)
	on += at.Amid * halts(d)
	stray := max(strayLeast, h.strayEnd/(1+p.Cycles))
	return on / (on + (1-at.Near)*stray + at.Near)
}

// halts is how often a cycle is stopped by hand, for something forgotten, and goes on
// d later or after more: one in a hundred, half of them within two minutes (a guess,
// no source).
func halts(d time.Duration) float64 {
	const often, half = 0.01, 2 * time.Minute
	return often * math.Exp2(-float64(d)/float64(half))
}

// drawnMost is what a pause counts for at the most in the mean of those that come by
// chance: longer ones have another cause, and are in Seen.
const drawnMost = 2 * time.Minute

// drawn is the share of pauses longer than d if their lengths were drawn from an
// exponential distribution. A meter that looks only now and then sees a turning
// drum at rest several times in a row, by chance: then the lengths are those of
// a memoryless game, and longer ones than were seen must be expected.
func (p *pauses) drawn(d time.Duration, seen float64, h habit) float64 {
	least := max(pauseLeast, h.cadence)
	const prior, priorMean = 5, 4.0
	mean := (max(0, p.Sum-seen*least.Seconds()) + prior*priorMean) / (seen + prior)
	mean *= 1 + 2/math.Sqrt(seen+1) // what is known of a mean of so few
	return math.Exp(-(d - least).Seconds() / mean)
}

// need is how long a lull must last until the chance that it goes on is below
// doubt, found by halving the range on the logarithm of the time.
func (p *pauses) need(doubt float64, at place, h habit, favour float64) time.Duration {
	low, high := math.Log(float64(pauseLeast)), math.Log(float64(needMost))
	for range 10 {
		mid := (low + high) / 2
		if p.goesOn(time.Duration(math.Exp(mid)), at, h, favour) <= doubt {
			high = mid
		} else {
			low = mid
		}
	}
	return time.Duration(math.Exp(high))
}
