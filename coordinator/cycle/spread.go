package cycle

import "time"

// spread is a distribution of a remaining time, in steps of half a minute.
type spread struct {
	weight [spreadBins]float64
	total  float64
	// used is one more than the highest step with weight.
	used int
}

const (
	spreadStep = 30 * time.Second
	spreadBins = 1024
)

func (s *spread) reset() {
	clear(s.weight[:s.used])
	s.total, s.used = 0, 0
}

func (s *spread) add(d time.Duration, w float64) { s.addAt(int(d/spreadStep), w) }

// addAt adds to a step.
func (s *spread) addAt(k int, w float64) {
	k = min(spreadBins-1, max(0, k))
	s.weight[k] += w
	s.total += w
	s.used = max(s.used, k+1)
}

// blurAt are points of a normal distribution of equal weight, in deviations.
var blurAt = [5]float64{-1.28, -0.52, 0, 0.52, 1.28}

// addBlurred adds another distribution, each time in it varied by a share.
func (s *spread) addBlurred(o *spread, share float64) {
	for k, w := range o.weight[:o.used] {
		if w == 0 {
			continue
		}
		for _, z := range blurAt {
			s.addAt(int(float64(k)*(1+z*share)+0.5), w/float64(len(blurAt)))
		}
	}
}

// quantiles returns the times below which the shares of ps (ascending) lie.
func (s *spread) quantiles(ps [3]float64) (q [3]time.Duration) {
	var sum float64
	k := 0
	for i, w := range s.weight[:s.used] {
		for k < len(ps) && w > 0 && sum+w >= ps[k]*s.total {
			at := float64(i) + (ps[k]*s.total-sum)/w
			q[k] = time.Duration(at * float64(spreadStep))
			k++
		}
		sum += w
		if k == len(ps) {
			break
		}
	}
	return q
}
