package wear

import (
	"math"
	"time"
)

// Settings say what shift a Watch is to find, and how rarely it may be wrong.
type Settings struct {
	// Shift is the least lasting change that matters, as a share (0.15 is 15 %);
	// of Standby, W.
	Shift float64
	// Reference is how many cycles of a programme make what is usual for it.
	Reference int
	// Quiet is how many cycles go on average between two false alarms.
	Quiet float64
}

// Usual are settings for a figure. A shared machine runs some 1,800 times a year,
// so that Quiet alone would let a chart be wrong once in eight years; what is
// learned from few cycles makes it more (TestFalseAlarms says how often).
func Usual(f Figure) Settings {
	s := Settings{Shift: 0.15, Reference: 40, Quiet: 15_000}
	if f == Standby {
		s.Shift = 1.5
	}
	return s
}

// Point is a cycle on the charts of one figure.
type Point struct {
	Cycle     uint64
	At        time.Time
	Programme int
	// Value is the figure in its unit.
	Value float64
	// Usual is what the programme's figure was before; 0 while that is learned.
	Usual float64
	// Off is how far Value is from Usual: the logarithm of their ratio, or for
	// Standby their difference, W. The charts are of it.
	Off float64
	// Average is the chart of the weighted average, Sum that of cumulative sums.
	Average AveragePoint
	Sum     SumPoint
	// Charted is false while what is usual is still learned.
	Charted bool
	// Signals says that the sums prove a lasting change here.
	Signals bool
}

// Chart is one figure of a machine over its cycles.
type Chart struct {
	Figure Figure
	Points []Point
	// H is the sum that signals, K the allowance, Low and High the limits of the
	// average: in the unit of Point.Off.
	H, K, Low, High float64
	// Drift is what is going on now; nil when all is as usual.
	Drift *Drift
}

// Drift is a lasting change of a figure.
type Drift struct {
	Figure Figure
	// Since is the first cycle of the change, as the sums date it; Cycles how many there were since.
	Since  time.Time
	Cycles int
	// Change is the share by which the figure is higher than usual (0.24: 24 %
	// more; below 0: less); for Standby in W.
	Change float64
	// From and To say when the usual was learned.
	From, To time.Time
	// Last is the newest cycle that was looked at.
	Last time.Time
}

// Watch draws the charts of a figure over a machine's history.
func Watch(f Figure, h History, s Settings) Chart {
	w := &watch{figure: f, settings: s, usual: map[int]*usual{}}
	w.chart.Figure = f
	looked := h.Looked
	for i, c := range h.Cycles {
		for ; len(looked) > 0 && !c.Start.Before(looked[0]); looked = looked[1:] {
			w.settle()
		}
		if v := c.Value[f]; h.Programmes[i] != None && finite(scale(f, v)) {
			w.add(c, h.Programmes[i], v)
		}
	}
	if len(looked) > 0 {
		w.settle()
	}
	return w.close()
}

// settle begins the sums and the average anew.
func (w *watch) settle() { w.sum, w.creep, w.average, w.out = sums{}, sums{}, 0, false }

// scale is where a value is charted: in logarithms, so that shares count.
func scale(f Figure, v float64) float64 {
	if f == Standby {
		return v
	}
	return math.Log(v)
}

func unscale(f Figure, v float64) float64 {
	if f == Standby {
		return v
	}
	return math.Exp(v)
}

// allowance and least shift on the chart's scale.
func (s Settings) allowance(f Figure) float64 {
	if f == Standby {
		return s.Shift / 2
	}
	return math.Log1p(s.Shift) / 2
}

// watch draws a chart, cycle by cycle.
//
// Two pairs of sums run. The one compares with what has been usual lately, which
// follows the seasons: cold water takes longer to heat. The other compares with
// what was usual at first, and finds twice the shift: what came so slowly that
// the first has grown used to it.
type watch struct {
	figure     Figure
	settings   Settings
	chart      Chart
	usual      map[int]*usual
	noise      noise
	sum, creep sums
	average    float64
	out        bool
	from, to   time.Time
	limitFor   float64 // the deviation that the chart's limit was reckoned for
}

func (w *watch) add(c Cycle, programme int, v float64) {
	u := w.usual[programme]
	if u == nil {
		u = &usual{}
		w.usual[programme] = u
	}
	p := Point{Cycle: c.Number, At: c.End, Programme: programme, Value: v}
	x := scale(w.figure, v)
	if u.n >= w.settings.Reference {
		p.Charted, p.Usual, p.Off = true, unscale(w.figure, u.mean), x-u.mean
		w.step(&p, x-u.first)
	}
	w.learn(u, x, &p)
	w.chart.Points = append(w.chart.Points, p)
}

// memory is how many values make what is usual for a programme.
func (w *watch) memory() int { return 3 * w.settings.Reference }

// learn takes a value for what is usual, as long as all is calm.
func (w *watch) learn(u *usual, x float64, p *Point) {
	if u.n >= w.settings.Reference && max(w.sum.most(), w.creep.most()) > w.chart.H/2 {
		return
	}
	if u.n > 1 && u.n < w.memory() {
		w.noise.add(x-u.mean, float64(u.n))
	}
	u.add(x, w.memory())
	if w.from.IsZero() {
		w.from = p.At
	}
	if u.n <= w.settings.Reference {
		w.to = p.At
	}
}

// step adds a charted point to the sums and the average; long is how far it is
// off what was usual at first.
func (w *watch) step(p *Point, long float64) {
	sigma, c := w.noise.sigma(w.figure), &w.chart
	c.K = w.settings.allowance(w.figure)
	if sigma != w.limitFor {
		// Two wild loads in a row prove nothing either.
		c.H, w.limitFor = max(sumLimit(c.K, sigma, w.settings.Quiet), 2*(wild*sigma-c.K)), sigma
	}
	most := wild * sigma
	w.sum.add(CUSUM{K: c.K, H: c.H}, tamed(p.Off, most), len(c.Points))
	// What the long look allows more, a value may count for more; else it would see
	// nothing where loads hardly differ.
	w.creep.add(CUSUM{K: 2 * c.K, H: c.H}, tamed(long, most+c.K), len(c.Points))
	limit := c.H
	if w.out {
		limit /= 2 // what is over must be well over
	}
	w.out = max(w.sum.most(), w.creep.most()) > limit
	w.average += smoothing * (tamed(p.Off, most) - w.average)
	c.Low, c.High = EWMA{Sigma: sigma, Lambda: smoothing, Width: averageWidth}.Limits()
	p.Average = AveragePoint{Value: p.Off, Average: w.average, Low: c.Low, High: c.High}
	p.Sum, p.Signals = w.sum.SumPoint, w.out
}

// wild is how many deviations a value counts for at most.
const wild = 4

// tamed is a value of at most that: one load of wet carpets is no wear.
func tamed(off, most float64) float64 { return min(max(off, -most), most) }

const (
	smoothing = 0.1
	// averageWidth gives one false signal in 500 of a lone chart of lambda 0.1
	// (S. Crowder, 1989); the chart is for the eye, the sums decide.
	averageWidth = 2.814
)

func (w *watch) close() Chart {
	if w.out {
		w.chart.Drift = w.drift()
	}
	return w.chart
}

// drift says what the sums have found. It is dated by when the sum that proves
// it last was 0 (Montgomery, Introduction to Statistical Quality Control, on the
// tabular chart's estimate of when a shift began), and measured against what was
// usual until then.
func (w *watch) drift() *Drift {
	slow := w.creep.most() > w.sum.most()
	first := w.sum.first()
	if slow {
		first = w.creep.first()
	}
	d := &Drift{Figure: w.figure, From: w.from, To: w.to, Last: w.chart.Points[len(w.chart.Points)-1].At}
	var sum float64
	for _, p := range w.chart.Points[first:] {
		if !p.Charted {
			continue
		}
		if d.Cycles == 0 {
			d.Since = p.At
		}
		off := p.Off
		if slow {
			off = scale(w.figure, p.Value) - w.usual[p.Programme].first
		}
		sum += off
		d.Cycles++
	}
	d.Change = sum / float64(d.Cycles)
	if w.figure != Standby {
		d.Change = math.Expm1(d.Change)
	}
	return d
}
