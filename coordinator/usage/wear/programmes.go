package wear

import (
	"math"
	"slices"
	"time"
)

// Programmes puts cycles of the same programme into one group, by how long they
// took and what they drew. The boxes around the groups are wide enough for a
// machine that wears to stay in them; else its worn cycles would be a new
// programme, and nothing would be found. The zero value with Dries set is ready.
//
// It is leader clustering (J. Hartigan, Clustering Algorithms, 1975, chapter 3),
// whose groups come in the order of time, so that what was grouped stays so.
type Programmes struct {
	// Dries says that the machine only dries: its energy follows its length, and
	// its peak tells heating from airing.
	Dries  bool
	groups []group
}

// group is a programme: the centre of its first cycles, in logarithms.
type group struct {
	n      int
	centre [2]float64
}

const (
	// mostProgrammes is how many are told apart; what is left is not watched.
	mostProgrammes = 12
	// settled is after how many cycles a centre no longer moves.
	settled = 30
	// None is the programme of a cycle that none could be found for.
	None = -1
)

// Half the sides of the boxes, in logarithms: of length and energy of a wash, of
// length and peak of a dry. Choices of ours.
var (
	washBox = [2]float64{0.20, 0.60}
	dryBox  = [2]float64{0.45, 0.30}
)

// History is a machine's cycles in the order of time, each with its programme.
type History struct {
	Cycles     []Cycle
	Programmes []int
	// Looked is when somebody looked after the machine, in order: what the sums had
	// until then is settled, what was usual still holds. A change that lasts all the
	// same is found again.
	Looked []time.Time
}

// Since groups the cycles that began at an instant or later: when the machine
// was new, or made as new. dries says that it only dries.
func Since(at time.Time, cycles []Cycle, dries bool) History {
	first := slices.IndexFunc(cycles, func(c Cycle) bool { return !c.Start.Before(at) })
	if first < 0 {
		return History{}
	}
	h := History{Cycles: cycles[first:]}
	p := Programmes{Dries: dries}
	for _, c := range h.Cycles {
		h.Programmes = append(h.Programmes, p.Of(c))
	}
	return h
}

// Of is the number of a cycle's programme, counted from 0 as they came; None
// when the cycle was not measured, or there are too many.
func (p *Programmes) Of(c Cycle) int {
	at, box := [2]float64{math.Log(c.Value[Length]), math.Log(c.Value[Energy])}, washBox
	if p.Dries {
		at[1], box = math.Log(c.PeakW), dryBox
	}
	if !finite(at[0]) || !finite(at[1]) {
		return None
	}
	best, likely := None, math.Inf(-1)
	for i := range p.groups {
		if l := p.groups[i].likelihood(at, box); l > likely {
			best, likely = i, l
		}
	}
	if best == None {
		if len(p.groups) == mostProgrammes {
			return None
		}
		best = len(p.groups)
		p.groups = append(p.groups, group{})
	}
	p.groups[best].add(at)
	return best
}

// likelihood is the logarithm of how likely the group would make the point, its
// size counted, with half a side of the box three deviations of a normal law;
// -Inf outside of the box. Without the size, some odd loads would make a group
// between two programmes that takes in what wears.
func (g *group) likelihood(at, box [2]float64) float64 {
	l := math.Log(float64(g.n))
	for i := range at {
		d := (at[i] - g.centre[i]) / box[i]
		if math.Abs(d) > 1 {
			return math.Inf(-1)
		}
		l -= 9 * d * d / 2
	}
	return l
}

func (g *group) add(at [2]float64) {
	g.n++
	if g.n > settled {
		return
	}
	for i := range at {
		g.centre[i] += (at[i] - g.centre[i]) / float64(g.n)
	}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
