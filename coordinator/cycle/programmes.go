package cycle

import "time"

// run is one whole cycle of the past.
type run struct {
	Codes []byte
	// Length is from start to end.
	Length time.Duration
	Wh     float64
	// Programme groups runs that went alike; numbered from 1.
	Programme int
	// Cut marks a run that was stopped early.
	Cut bool
	// Marks are its landmarks.
	Marks []int
}

// runsKept is how many runs a machine remembers.
const runsKept = 48

// programmes are the runs of the past, grouped into programmes as they come.
// When there are too many, the oldest run of the programme with the most runs
// is forgotten, so that a programme that is seldom used stays known (leader
// clustering: J. A. Hartigan, Clustering Algorithms, 1975, ch. 3).
type programmes struct {
	Runs []run // oldest first
	Last int   // highest programme number given
}

// keep stores a run, like an earlier one or, with like < 0, like none.
func (p *programmes) keep(r run, like int) int {
	if like >= 0 {
		r.Programme = p.Runs[like].Programme
	} else {
		p.Last++
		r.Programme = p.Last
	}
	if len(p.Runs) >= runsKept {
		p.drop()
	}
	p.Runs = append(p.Runs, r)
	return r.Programme
}

// novelty is about the chance that the next run is of a programme never seen:
// with n runs of p programmes, 2p/(n+1) at most 1 (after I. J. Good, The population
// frequencies of species, Biometrika 40 (1953) 237-264, who takes the share of
// what was seen once).
func (p *programmes) novelty() float64 {
	once := 1
	for i, r := range p.Runs {
		n := 0
		for _, o := range p.Runs {
			if o.Programme == r.Programme {
				n++
			}
		}
		if n == 1 && i >= 0 {
			once++
		}
	}
	return min(1, float64(2*once)/float64(len(p.Runs)+1))
}

func (p *programmes) drop() {
	best, most := 0, 0
	for i, r := range p.Runs {
		n := 0
		for _, o := range p.Runs[i:] {
			if o.Programme == r.Programme {
				n++
			}
		}
		if n > most {
			best, most = i, n
		}
	}
	p.Runs = append(p.Runs[:best], p.Runs[best+1:]...)
}
