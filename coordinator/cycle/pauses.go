package cycle

import (
	"math"
	"time"
)

// pauseBins count pauses by length: from 10 s on, each bin a fifth longer.
const (
	pauseBins  = 36
	pauseLeast = 10 * time.Second
	pauseRatio = 1.2
)

// pauses is what a machine's pauses are like: how many of which length a cycle
// has, away from its end and near it. Out of it comes the chance that a lull
// which has lasted for some time is only a pause.
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
	// Away and Close are how many pauses there were in either part.
	Away, Close float64
	// Cycles is how many cycles that was.
	Cycles float64
}

const (
	pausePrior = 10
	// A pause near the end may be this much longer than any seen.
	pauseStretch = 1.25
)

func pauseBin(d time.Duration) int {
	if d < pauseLeast {
		return 0
	}
	return min(pauseBins-1, int(math.Log(float64(d)/float64(pauseLeast))/math.Log(pauseRatio)))
}

// add counts a pause after which the cycle went on; near is the chance that the
// programme was near its end when it began.
func (p *pauses) add(d time.Duration, near float64) {
	if d < pauseLeast {
		return
	}
	b := pauseBin(d)
	p.Seen[b]++
	p.Near[b] += near
	p.Close += near
	p.Away += 1 - near
}

// ended counts a finished cycle and lets old ones fade.
func (p *pauses) ended() {
	const fade = 0.97
	for i := range p.Seen {
		p.Seen[i] *= fade
		p.Near[i] *= fade
	}
	p.Away, p.Close, p.Cycles = p.Away*fade, p.Close*fade, p.Cycles*fade+1
}

// tail is how many of the counted pauses lasted at least d.
func tail(counts *[pauseBins]float64, d time.Duration) (n float64) {
	for _, v := range counts[pauseBin(d):] {
		n += v
	}
	return n
}

// habit is what the pauses of a kind of machine are like, before any is seen.
type habit struct {
	away, close float64       // pauses a cycle
	scale       time.Duration // of the tail
	power       float64
	strayEnd    float64 // share of ends away from the programme's end
}

func habitOf(s Settings) habit {
	if s.Washer {
		return habit{away: 10, close: 2, scale: 20 * time.Second, power: 2.3, strayEnd: 0.05}
	}
	return habit{away: 3, close: 1, scale: 12 * time.Second, power: 2.5, strayEnd: 0.2}
}

// usual is the share of such a machine's pauses that last at least d.
func (h habit) usual(d time.Duration) float64 {
	if d <= pauseLeast {
		return 1
	}
	return math.Pow(1+float64(d-pauseLeast)/float64(h.scale), -h.power)
}

// goesOn is the chance that a lull of length d is a pause, when near is the
// chance that it began at the programme's end.
func (p *pauses) goesOn(d time.Duration, near float64, h habit) float64 {
	seen := tail(&p.Seen, pauseLeast)
	longer := (tail(&p.Seen, d) + pausePrior*h.usual(d)) / (seen + pausePrior)
	away := (p.Away + h.away) / (p.Cycles + 1) * longer
	shrunk := time.Duration(float64(d) / pauseStretch)
	close := (p.Close+h.close)/(p.Cycles+1)*longer + tail(&p.Near, max(shrunk, pauseLeast))/(p.Cycles+1)
	on := (1-near)*away + near*close
	return on / (on + (1-near)*h.strayEnd + near)
}

// need is how long a lull must last until the chance that it goes on is below doubt.
func (p *pauses) need(doubt, near float64, h habit) time.Duration {
	d := float64(pauseLeast)
	for range pauseBins + 4 {
		if p.goesOn(time.Duration(d), near, h) <= doubt {
			break
		}
		d *= pauseRatio
	}
	return time.Duration(d)
}
