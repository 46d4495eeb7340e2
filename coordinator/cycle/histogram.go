package cycle

import "time"

// histogramBins is the size of a histogram: four codes a bin.
const (
	histogramBins = 64
	codesABin     = 256 / histogramBins
)

// histogram is how long power stood at each level, s, on the scale of codeOf.
// Weighting by time makes it the same for every meter, however often it reports.
type histogram struct {
	Seconds [histogramBins]float64
}

func (h *histogram) add(code uint8, d time.Duration) {
	h.Seconds[code/codesABin] += d.Seconds()
}

// total is the time in the bins from..to-1, s.
func (h *histogram) total(from, to int) (s float64) {
	for _, v := range h.Seconds[from:to] {
		s += v
	}
	return s
}

// scale multiplies all times, for forgetting.
func (h *histogram) scale(f float64) {
	for i := range h.Seconds {
		h.Seconds[i] *= f
	}
}

// join adds another histogram times a factor.
func (h *histogram) join(o *histogram, f float64) {
	for i, v := range o.Seconds {
		h.Seconds[i] += v * f
	}
}

// quantile is the level, W, below which a share p of the time in the bins
// from..to-1 lies; 0 when they are empty.
func (h *histogram) quantile(p float64, from, to int) float64 {
	total := h.total(from, to)
	if total <= 0 {
		return 0
	}
	left := p * total
	for i := from; i < to; i++ {
		if v := h.Seconds[i]; v > 0 && left <= v {
			return wattsOf(uint8((float64(i) + left/v) * codesABin))
		} else {
			left -= v
		}
	}
	return wattsOf(uint8(to*codesABin - 1))
}

// otsu splits a histogram in two classes, levels up to t and above, so that the
// variance between them is greatest, and returns t with that variance (in bins
// squared). Among equally good splits, as over the empty bins between two
// peaks, it takes the middle one.
//
// N. Otsu, A threshold selection method from gray-level histograms, IEEE
// Transactions on Systems, Man, and Cybernetics 9 (1979) 62-66; here on the
// logarithm of power, without which a drum's 150 W would fall into one class
// with standby beside a heater's 2 kW.
func otsu(weights []float64) (t int, between float64) {
	var total, sum float64
	for i, w := range weights {
		total += w
		sum += w * float64(i)
	}
	if total <= 0 {
		return 0, 0
	}
	var below, sumBelow float64
	first, last := 0, 0
	for i, w := range weights[:len(weights)-1] {
		below += w
		sumBelow += w * float64(i)
		above := total - below
		if below <= 0 || above <= 0 {
			continue
		}
		d := sumBelow/below - (sum-sumBelow)/above
		v := below / total * above / total * d * d
		switch {
		case v > between*(1+1e-12):
			between, first, last = v, i, i
		case v >= between*(1-1e-12):
			last = i
		}
	}
	return (first + last) / 2, between
}
