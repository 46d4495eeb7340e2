package cycle

import (
	"math"
	"time"
)

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
	// Weight is how many runs it stands for: itself and its share of those of its
	// programme that were forgotten.
	Weight float64
}

// alike reports whether two runs took about as long and about as much energy.
func (r *run) alike(o *run) bool {
	longer := max(r.Length, o.Length)
	apart := max(r.Length-o.Length, o.Length-r.Length)
	return apart <= max(4*time.Minute, longer/10) && math.Abs(r.Wh-o.Wh) <= 0.35*max(r.Wh, o.Wh)
}

// runsKept is how many runs a machine remembers.
const runsKept = 96

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
	r.Weight = 1
	p.Runs = append(p.Runs, r)
	return r.Programme
}

// novelty is about the chance that the next run is of a programme never seen:
// with n runs of p programmes, 2p/(n+1) at most 1 (after I. J. Good, The population
// frequencies of species, Biometrika 40 (1953) 237-264, who takes the share of
// what was seen once).
func (p *programmes) novelty() float64 {
	once := 1
	for i := range p.Runs {
		if p.count(p.Runs[i].Programme, 0) == 1 {
			once++
		}
	}
	return min(1, float64(2*once)/float64(len(p.Runs)+1))
}

// drop forgets the oldest run, but none of a programme with few, and gives its
// weight to the others of its programme.
func (p *programmes) drop() {
	old, n := 0, 1
	for i := range p.Runs {
		if k := p.count(p.Runs[i].Programme, 0); k > runsFew {
			old, n = i, k
			break
		}
	}
	gone := p.Runs[old]
	p.Runs = append(p.Runs[:old], p.Runs[old+1:]...)
	for i := range p.Runs {
		if r := &p.Runs[i]; n > 1 && r.Programme == gone.Programme {
			r.Weight += gone.Weight / float64(n-1)
		}
	}
}

// runsFew is how many runs of a programme are kept in any case.
const runsFew = 3

// count is how many of the runs from i on are of a programme.
func (p *programmes) count(programme, i int) (n int) {
	for _, r := range p.Runs[i:] {
		if r.Programme == programme {
			n++
		}
	}
	return n
}
