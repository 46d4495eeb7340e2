package cycle

import "time"

// spread is a distribution of a remaining time, in steps of half a minute.
type spread struct {
	weight [spreadBins]float64
	total  float64
}

const (
	spreadStep = 30 * time.Second
	spreadBins = 1024
)

func (s *spread) reset() { clear(s.weight[:]); s.total = 0 }

func (s *spread) add(d time.Duration, w float64) {
	s.weight[min(spreadBins-1, max(0, int(d/spreadStep)))] += w
	s.total += w
}

// quantiles returns the times below which the shares of ps (ascending) lie.
func (s *spread) quantiles(ps [3]float64) (q [3]time.Duration) {
	var sum float64
	k := 0
	for i, w := range s.weight {
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
