package chart

import (
	"math"
	"strconv"
)

// biggest is beyond what any chart here means, in its unit: values past it are
// drawn at the edge.
const biggest = 1e12

// Scale is an axis with round steps: a whole number of Step from Low to High.
type Scale struct {
	Low, High, Step float64
}

// NiceScale covers the values from low to high in at most so many steps of 1, 2
// or 5 times a power of ten. Values that are no numbers count as 0; a stretch
// without length is given one.
func NiceScale(low, high float64, steps int) Scale {
	low, high = sane(low), sane(high)
	if high < low {
		low, high = high, low
	}
	if span := max(math.Abs(low), math.Abs(high)) * 1e-9; high-low <= span || high-low < 1e-9 {
		high = low + max(1, math.Abs(low)/10)
	}
	steps = max(1, steps)
	step := math.Pow(10, math.Floor(math.Log10((high-low)/float64(steps))))
	for {
		for _, times := range [...]float64{1, 2, 5} {
			s := Scale{Step: step * times}
			s.Low, s.High = math.Floor(low/s.Step+1e-9)*s.Step, math.Ceil(high/s.Step-1e-9)*s.Step
			if s.High > s.Low && s.count() <= steps {
				return s
			}
		}
		step *= 10
		if steps == 1 && low < 0 && high > 0 && step > 10*(high-low) {
			return Scale{-step, step, step} // no one step holds a zero within
		}
	}
}

// sane is v as far as it can be drawn.
func sane(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return min(max(v, -biggest), biggest)
}

func (s Scale) count() int { return int(math.Round((s.High - s.Low) / s.Step)) }

// Ticks are the values at the steps, both ends included.
func (s Scale) Ticks() []float64 {
	var out []float64
	for i := range s.count() + 1 {
		v := s.Low + float64(i)*s.Step
		if math.Abs(v) < s.Step/1e6 {
			v = 0
		}
		out = append(out, v)
	}
	return out
}

// Decimals is how many digits behind the decimal mark tell the steps apart.
func (s Scale) Decimals() int {
	d := int(math.Ceil(-math.Log10(s.Step) - 1e-9))
	return min(max(0, d), 6)
}

// at is where a value lies between Low (0) and High (1); what is beyond is at the edge.
func (s Scale) at(v float64) float64 {
	return min(max((sane(v)-s.Low)/(s.High-s.Low), 0), 1)
}

// longestNumber is how many characters a number on an axis may have.
const longestNumber = 9

// label writes a value of the axis.
func (s Scale) label(v float64, l Locale) string {
	text := l.number(v, s.Decimals())
	if len([]rune(text)) > longestNumber {
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	return text
}
