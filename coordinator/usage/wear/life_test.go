package wear

import (
	"math"
	"math/rand/v2"
	"time"
)

// life is an invented machine's cycles: a mix of programmes, each with its own
// lengths and energies, and loads that differ from one to the next and resemble
// the one before (a first-order autoregression with phi). From cycle drift on,
// its figures are higher by share; creep is a rise by so much in a year.
type life struct {
	seed          uint64
	cycles, drift int
	share, creep  float64
	// cv is the deviation from load to load, as a share; season the swing of a year.
	cv, phi, season float64
	dries           bool
}

// aYear is how many cycles a shared machine runs: five a day.
const aYear = 1825

var dayOne = time.Date(2025, 3, 1, 7, 0, 0, 0, time.UTC)

func (l life) run() []Cycle {
	random := rand.New(rand.NewPCG(l.seed, 3))
	medians := []float64{45, 75, 120} // minutes
	if l.dries {
		medians = []float64{35, 70}
	}
	all := make([]Cycle, l.cycles)
	alike := random.NormFloat64()
	for i := range all {
		alike = l.phi*alike + math.Sqrt(1-l.phi*l.phi)*random.NormFloat64()
		off := l.cv*alike + l.season*math.Sin(2*math.Pi*float64(i)/aYear) + l.creep*float64(i)/aYear
		if l.drift > 0 && i >= l.drift {
			off += math.Log1p(l.share)
		}
		all[i] = l.one(i, medians[random.IntN(len(medians))], off, random)
	}
	return all
}

// one is cycle i of a programme of so many minutes, off by a logarithm.
func (l life) one(i int, minutes, off float64, random *rand.Rand) Cycle {
	at := dayOne.Add(time.Duration(i) * 24 * time.Hour / 5)
	c := unmeasured(uint64(i+1), at, at.Add(time.Hour))
	c.PeakW = 2200
	c.Value[Standby] = 1.4 + 0.2*random.NormFloat64()
	if l.dries {
		c.Value[Length], c.Value[Energy] = minutes*math.Exp(off), minutes/30*math.Exp(off)
		return c
	}
	c.Value[Length] = minutes * math.Exp(0.05*random.NormFloat64())
	c.Value[Energy], c.Value[Heating] = minutes/100*math.Exp(off), minutes/5*math.Exp(off)
	return c
}

// chart draws the life's chart of a figure.
func (l life) chart(f Figure) Chart { return l.chartOf(f, l.run()) }

func (l life) chartOf(f Figure, all []Cycle) Chart {
	return Watch(f, Since(time.Time{}, all, l.dries), Usual(f))
}

// alarms counts how often the chart begins to signal.
func alarms(c Chart) (n int) {
	was := false
	for _, p := range c.Points {
		if p.Charted {
			if p.Signals && !was {
				n++
			}
			was = p.Signals
		}
	}
	return n
}

// found is how many cycles after one the chart first signals; not ok when never.
func found(c Chart, after int) (int, bool) {
	for _, p := range c.Points {
		if p.Signals && int(p.Cycle) > after {
			return int(p.Cycle) - after, true
		}
	}
	return math.MaxInt, false
}
