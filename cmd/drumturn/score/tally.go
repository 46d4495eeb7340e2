package score

import (
	"math"
	"slices"
	"time"
)

// sum adds up values for a mean.
type sum struct {
	total float64
	n     int
}

func (s *sum) add(v float64) { s.total += v; s.n++ }

func (s *sum) join(o sum) { s.total += o.total; s.n += o.n }

func (s sum) mean() Number {
	if s.n == 0 {
		return Number(math.NaN())
	}
	return Number(s.total / float64(s.n))
}

// tally is the raw material of the figures; tallies of machines add up to that
// of a data set and of everything.
type tally struct {
	labels, detected, matched     int
	merged, split, falseFinishes  int
	declared                      int       // ends declared in all, also those taken back
	declare, endError             []float64 // s
	early                         int
	earlyWorst                    float64 // s
	quarter                       [4]sum  // min
	lastRun                       sum     // min
	width                         sum     // min
	inside, scoredCycles, offered int
	ratios                        []float64 // of machines with enough scored cycles
}

// enoughCycles is how many scored cycles a machine needs for its ratio to count.
const enoughCycles = 4

func (t *tally) remaining() sum {
	var s sum
	for _, q := range t.quarter {
		s.join(q)
	}
	return s
}

func (t *tally) join(o tally) {
	t.labels += o.labels
	t.detected += o.detected
	t.matched += o.matched
	t.merged += o.merged
	t.split += o.split
	t.falseFinishes += o.falseFinishes
	t.declared += o.declared
	t.declare = append(t.declare, o.declare...)
	t.endError = append(t.endError, o.endError...)
	t.early += o.early
	t.earlyWorst = max(t.earlyWorst, o.earlyWorst)
	for i := range t.quarter {
		t.quarter[i].join(o.quarter[i])
	}
	t.lastRun.join(o.lastRun)
	t.width.join(o.width)
	t.inside += o.inside
	t.offered += o.offered
	t.scoredCycles += o.scoredCycles
	t.ratios = append(t.ratios, o.ratios...)
}

// tallyMachine reckons one machine. answers holds one for each instant of
// instants(ls), in the same order, or nothing for a detector without estimates.
// An end that was taken back is no cycle, but was declared.
func tallyMachine(cs, takenBack []Cycle, answers []Answer, ls []Label) tally {
	var t tally
	for _, c := range slices.Concat(cs, takenBack) {
		if !c.AtEndOfFile && counts(c, ls) {
			t.declared++
		}
		if falseFinish(c, ls) {
			t.falseFinishes++
		}
	}
	of := match(cs, ls)
	for _, c := range cs {
		if counts(c, ls) {
			t.detected++
		}
		if middlesOfLabels(c, ls) > 1 {
			t.merged++
		}
	}
	for i, l := range ls {
		if l.Quality == Doubtful {
			continue
		}
		t.labels++
		if of[i] >= 0 {
			t.matched++
		}
		if middlesOfCycles(l, cs) > 1 {
			t.split++
		}
		if l.Quality == Clean && of[i] >= 0 {
			t.addEnd(cs[of[i]], l)
		}
	}
	t.addRemaining(of, answers, ls)
	if r := t.ratio(); t.scoredCycles >= enoughCycles && !math.IsNaN(r) {
		t.ratios = []float64{r}
	}
	return t
}

func middlesOfLabels(c Cycle, ls []Label) (n int) {
	for _, l := range ls {
		if m := l.middle(); l.Quality != Doubtful && m.After(c.Start) && m.Before(c.End) {
			n++
		}
	}
	return n
}

func middlesOfCycles(l Label, cs []Cycle) (n int) {
	for _, c := range cs {
		if m := c.Start.Add(c.End.Sub(c.Start) / 2); m.After(l.Start) && m.Before(l.End) {
			n++
		}
	}
	return n
}

func (t *tally) addEnd(c Cycle, l Label) {
	t.endError = append(t.endError, math.Abs(c.End.Sub(l.End).Seconds()))
	if c.AtEndOfFile {
		return
	}
	late := c.Declared.Sub(l.End).Seconds()
	t.declare = append(t.declare, late)
	if late < 0 {
		t.early++
		t.earlyWorst = max(t.earlyWorst, -late)
	}
}

// instants lists when the remaining time is asked: every minute from a minute
// after a label's start until its end, of clean labels but the machine's first.
func instants(ls []Label) []time.Time {
	var out []time.Time
	for i, l := range ls {
		if i == 0 || l.Quality != Clean {
			continue
		}
		for at := l.Start.Add(time.Minute); at.Before(l.End); at = at.Add(time.Minute) {
			out = append(out, at)
		}
	}
	return out
}

func (t *tally) addRemaining(of []int, answers []Answer, ls []Label) {
	for i, l := range ls {
		if i == 0 || l.Quality != Clean {
			continue
		}
		n := len(instants(ls[i-1 : i+1]))
		var mine []Answer
		if len(answers) > 0 {
			mine, answers = answers[:n], answers[n:]
		}
		if of[i] < 0 {
			continue
		}
		t.scoredCycles++
		usual := ls[i-1].length()
		for k := range n {
			at := l.Start.Add(time.Duration(k+1) * time.Minute)
			truth := l.End.Sub(at).Minutes()
			guess := max(0, l.Start.Add(usual).Sub(at).Minutes())
			t.lastRun.add(math.Abs(guess - truth))
			if mine != nil {
				t.addAnswer(mine[k], truth, float64(at.Sub(l.Start))/float64(l.length()))
			}
		}
	}
}

func (t *tally) addAnswer(a Answer, truth, done float64) {
	t.quarter[min(3, int(done*4))].add(math.Abs(a.Median - truth))
	t.width.add(a.High - a.Low)
	t.offered++
	// The answer is stated to the second: a bound that truth touches holds it.
	const touch = 1.0 / 60
	if a.Low-touch <= truth && truth <= a.High+touch {
		t.inside++
	}
}

func (t *tally) ratio() float64 {
	last, own := t.lastRun.mean(), t.remaining().mean()
	if last == 0 {
		return math.NaN()
	}
	return float64(own / last)
}

// percentile interpolates linearly between the sorted values; p from 0 to 1.
func percentile(vs []float64, p float64) Number {
	if len(vs) == 0 {
		return Number(math.NaN())
	}
	vs = slices.Sorted(slices.Values(vs))
	at := p * float64(len(vs)-1)
	low := int(at)
	if low+1 >= len(vs) {
		return Number(vs[len(vs)-1])
	}
	return Number(vs[low] + (at-float64(low))*(vs[low+1]-vs[low]))
}
