package cycle

import (
	"math"
	"time"
)

// matcher follows where in which past run the present cycle is. Each pair of a
// run and a minute of it is a state of a hidden Markov model: a minute of the
// present moves a state on by one minute of the run, or by none or two where
// this time things go slower or faster, and the state gains or loses weight by
// how well the power fits. Beside the runs stands the chance that this is a
// programme never seen.
//
// The weights are those of the forward algorithm (L. R. Rabiner, A tutorial on
// hidden Markov models and selected applications in speech recognition, Proc.
// IEEE 77 (1989) 257-286), which with these moves is dynamic time warping with
// all its warpings weighed instead of the cheapest taken, and an open end.
// Where a run has a plateau, many positions fit equally well; the moves keep
// the weight near the elapsed time, where plain warping would stop at the first.
type matcher struct {
	// weight holds for each run one weight per minute; alive bounds those that
	// are not zero.
	weight [][]float32
	alive  [][2]int
	// gone is for each run the weight that has come to the run's end while the
	// cycle goes on, beyond their sum.
	gone   []float64
	beyond float64
	// novel is the weight of a programme never seen.
	novel float64
	// novelLeast is what it is at the least, for programmes begin alike.
	novelLeast float64
	// least is the weight below which states were given up last.
	least float32
	steps int
	// held and before are of the landmarks of the run that is moved: see ahead.
	held, before [landmarksMost]float32
	// jumps is the chance of a jump to a landmark in a minute: how much the
	// length of a phase varies.
	jumps, jumpsOne float64
	// holds is the chance that a phase which lasts as long as ever lasts another
	// minute.
	holds float64
	// fit is how well two codes fit, by 255 plus their difference.
	fit      [511]float32
	novelFit float64
}

const (
	moveStay, moveSkip = 0.08, 0.08
	// recent is how much less likely a run is than the next one after it: habits change.
	recent = 0.98
	// jumpBack is how many minutes a jump goes back at the most.
	jumpBack = 15
	// fitScale is the typical deviation of codes in the same place of two runs,
	// fitFloor what happens otherwise, novelFit how well any power fits a
	// programme never seen.
	fitScale, fitFloor, novelFit = 12, 0.02, 0.30
	// temper is the power that fits are raised to where one run is known, less
	// temperLess for each tenfold; jumpRuns is how many runs halve the jumps.
	temper, temperLess, jumpRuns = 0.8, 0.2, 20
	// beam is the weight, against the greatest, below which a state is given up,
	// for each run that is known, within bounds.
	beam, beamLeast, beamMost = 3e-5, 1e-4, 4e-4
)

// pliant is how much the phases of a kind of machine vary in length: the chance,
// in a minute, of a jump to a landmark, and that of a phase which lasts as long
// as ever to last another minute. A dryer heats until the load is dry.
func pliant(s Settings) (jumps, holds float64) {
	if s.Washer {
		return 0.03, 0.5
	}
	return 0.05, 0.92
}

// weighs sets how well two codes fit that lie so far apart: a Laplace distribution
// with a floor for what happens otherwise, raised to a power below one since the
// deviations of one minute and the next are akin, and the more so the more runs
// there are, of which some fit by chance.
func (m *matcher) weighs(runs int) {
	power := temper - temperLess*math.Log10(float64(1+runs))
	for d := range 256 {
		f := float32(math.Pow(0.9*math.Exp(-float64(d)/fitScale)+fitFloor, power))
		m.fit[255+d], m.fit[255-d] = f, f
	}
	m.novelFit = math.Pow(novelFit, power/0.6)
	m.jumps = m.jumpsOne / (1 + float64(runs)/jumpRuns)
}

func (m *matcher) fits(a, b uint8) float32 { return m.fit[255+int(a)-int(b)] }

// begin starts a cycle: every run is as likely as it is recent.
func (m *matcher) begin(runs []run) {
	m.grow(len(runs))
	m.weighs(len(runs))
	m.steps, m.least = 0, 0
	m.beyond = 0
	m.novel = 1 / (float64(len(runs)) + 2)
	sum, now := 0.0, 1.0
	for i := len(runs) - 1; i >= 0; i-- {
		sum += now * runs[i].Weight
		now *= recent
	}
	share := (1 - m.novel) / max(1e-9, sum) * now
	for i, r := range runs {
		share /= recent
		m.weight[i] = fitted(m.weight[i], len(r.Codes))
		m.alive[i] = [2]int{0, 0}
		m.gone[i] = 0
		if len(r.Codes) > 0 && !r.Cut {
			m.alive[i] = [2]int{0, 1}
			m.weight[i][0] = float32(share * r.Weight)
		}
	}
}

func (m *matcher) grow(n int) {
	for len(m.weight) < n {
		m.weight = append(m.weight, nil)
	}
	for len(m.alive) < n {
		m.alive = append(m.alive, [2]int{})
	}
	for len(m.gone) < n {
		m.gone = append(m.gone, 0)
	}
	m.weight, m.alive, m.gone = m.weight[:n], m.alive[:n], m.gone[:n]
}

// fitted returns a zeroed slice of length n, in the old one's memory if it fits.
func fitted(s []float32, n int) []float32 {
	if cap(s) < n {
		return make([]float32, n)
	}
	s = s[:n]
	clear(s)
	return s
}

// step takes the power of the next minute.
func (m *matcher) step(code uint8, runs []run) {
	first := m.steps == 0
	m.steps++
	m.beyond = 0
	var sum float64
	for i := range m.weight {
		s, over := m.stepRun(i, code, &runs[i], first)
		sum += s
		m.gone[i] = (m.gone[i] + over) * m.novelFit
		m.beyond += m.gone[i]
	}
	m.novel *= m.novelFit
	sum += m.novel + m.beyond
	if sum <= 0 {
		m.novel, sum = 1, 1
	}
	m.scale(float32(1 / sum))
	m.novel = max(m.novel/sum, m.novelLeast, 1e-6)
	m.beyond /= sum
}

// stepRun moves the weights of one run; it returns their sum and what went
// beyond the run's end.
func (m *matcher) stepRun(i int, code uint8, r *run, first bool) (sum, over float64) {
	lo, hi := m.alive[i][0], m.alive[i][1]
	if lo >= hi {
		return 0, 0
	}
	w := m.weight[i]
	codes := r.Codes[:len(w)]
	if first {
		w[0] *= m.fits(code, codes[0])
		return float64(w[0]), 0
	}
	n := len(w)
	over = float64(w[n-1]) * (1 - moveStay)
	if n >= 2 {
		over += float64(w[n-2]) * moveSkip
	}
	m.ahead(w, r.Marks, lo, hi)
	hi = min(hi+2, n)
	after := m.flow(w, codes, code, lo, hi)
	lo, hi, more := m.jump(w, code, r, lo, hi)
	m.alive[i] = [2]int{lo, hi}
	return float64(after + more), over
}

// flow moves the weights of the minutes lo..hi-1 by none, one or two, and returns
// their sum. Below lo there is none.
func (m *matcher) flow(w []float32, codes []byte, code uint8, lo, hi int) (sum float32) {
	fit := m.fit[int(code):] // of 255 less a code
	var b, c float32         // what the minutes one and two before had
	for j := lo; j < hi; j++ {
		a := w[j]
		v := (a*moveStay + b*(1-moveStay-moveSkip) + c*moveSkip) * fit[255-int(codes[j])]
		w[j] = v
		sum += v
		b, c = a, b
	}
	return sum
}

// ahead finds for each landmark the weight at the last minute before it, held, and
// the weight of all minutes from which the present may jump to it: those before it,
// and a few behind, for a phase that took longer than the moves could follow.
func (m *matcher) ahead(w []float32, marks []int, lo, hi int) {
	var sum float32
	at := lo
	for k, j := range marks {
		m.held[k] = w[j-1]
		for ; at < min(hi, j+jumpBack); at++ {
			sum += w[at]
		}
		m.before[k] = sum
	}
}

// jump lets more of the weight before each landmark stay where it is, for a phase
// may last longer than it did, with a chance per minute that does not depend on how
// much longer already; and gives a little of it to the landmark, where it fits. It
// returns by how much the sum of the weights changes.
func (m *matcher) jump(w []float32, code uint8, r *run, lo, hi int) (int, int, float32) {
	var more float32
	give := float32(m.jumps) / float32(max(1, len(r.Marks)))
	for k, j := range r.Marks {
		if m.before[k] == 0 {
			continue
		}
		fit := m.fits(code, r.Codes[j])
		if m.held[k] > 0 {
			stay := m.held[k] * float32(m.holds-moveStay)
			here, next := stay*m.fits(code, r.Codes[j-1]), min(w[j], stay*fit)
			w[j-1] += here
			w[j] -= next
			more += here - next
		}
		if v := give * m.before[k] * fit; v >= m.least {
			w[j] += v
			more += v
			lo, hi = min(lo, j), max(hi, j+1)
		}
	}
	return lo, hi, more
}

// scale multiplies all weights, and gives up those at both ends of what is alive of
// a run that are far below the greatest of the minute before.
func (m *matcher) scale(by float32) {
	var top float32
	for i, w := range m.weight {
		m.gone[i] *= float64(by)
		lo, hi := m.alive[i][0], m.alive[i][1]
		for ; lo < hi && w[lo]*by < m.least; lo++ {
			w[lo] = 0
		}
		for ; lo < hi && w[hi-1]*by < m.least; hi-- {
			w[hi-1] = 0
		}
		for j, v := range w[lo:hi] {
			v *= by
			w[lo+j] = v
			top = max(top, v)
		}
		m.alive[i] = [2]int{lo, hi}
	}
	m.least = top * float32(min(beamMost, max(beamLeast, beam*float64(len(m.weight)))))
}

// near is the chance that at most d is left, were the programme a known one,
// and known that it is.
func (m *matcher) near(d time.Duration, runs []run) (near, known float64) {
	for i := range m.weight {
		for j := m.alive[i][0]; j < m.alive[i][1]; j++ {
			w := float64(m.weight[i][j])
			known += w
			if runs[i].left(j) <= d {
				near += w
			}
		}
	}
	known += m.beyond
	near += m.beyond
	if known <= 0 {
		return 0, 0
	}
	return near / known, known
}

// left is what a run still takes after its minute j.
func (r *run) left(j int) time.Duration {
	return max(0, r.Length-time.Duration(j+1)*profileStep)
}

// likest is the run with the greatest weight among those that r is like in
// length and energy; -1 when there is none.
func (m *matcher) likest(runs []run, r *run) int {
	best, most := -1, 0.0
	for i := range m.weight {
		if w := m.of(i); w > most && runs[i].alike(r) {
			best, most = i, w
		}
	}
	return best
}

// of is the weight of a run.
func (m *matcher) of(i int) float64 {
	sum := m.gone[i]
	for j := m.alive[i][0]; j < m.alive[i][1]; j++ {
		sum += float64(m.weight[i][j])
	}
	return sum
}
