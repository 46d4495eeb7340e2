package wear

// sums is the newest point of a chart of cumulative sums, and since when it grows.
type sums struct {
	SumPoint
	// rose and sank are the numbers of the points from which on the sums are above 0.
	rose, sank int
}

// add takes the value of point number i. Sums do not grow without end, so that a
// repair shows within some cycles.
func (s *sums) add(c CUSUM, value float64, i int) {
	if s.Rise == 0 {
		s.rose = i
	}
	if s.Sag == 0 {
		s.sank = i
	}
	s.SumPoint = c.Next(s.SumPoint, value)
	s.Rise, s.Sag = min(s.Rise, 1.5*c.H), min(s.Sag, 1.5*c.H)
}

func (s *sums) most() float64 { return max(s.Rise, s.Sag) }

// first is the number of the point from which on the higher sum grows.
func (s *sums) first() int {
	if s.Sag > s.Rise {
		return s.sank
	}
	return s.rose
}
