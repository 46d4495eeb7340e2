package wear

import (
	"math"
	"testing"
	"time"
)

// worked is a history of one programme with these values of a figure, one a day.
func worked(f Figure, values ...float64) (h History) {
	for i, v := range values {
		c := unmeasured(uint64(i+1), dayOne.AddDate(0, 0, i), dayOne.AddDate(0, 0, i).Add(time.Hour))
		c.Value[f] = v
		h.Cycles, h.Programmes = append(h.Cycles, c), append(h.Programmes, 0)
	}
	return h
}

// TestChartsWorkedOut: charts of some cycles, point by point. The figures were worked out
// by a separate program from what the comments of this package say: NIST/SEMATECH's
// charts (6.3.2.3 and 6.3.2.4) of what is off, at most four deviations of it; the mean of
// what was calm; Siegmund's limit, or what two wild loads make where that is more.
func TestChartsWorkedOut(t *testing.T) {
	type point struct {
		number                                 int // of the cycle, from 0
		usual, off, average, limit, rise, sags float64
		signals                                bool
	}
	for _, c := range []struct {
		name   string
		f      Figure
		s      Settings
		values []float64
		want   []point
		since  int // the cycle that the drift began with; 0: there is none
		cycles int
		change float64
	}{
		{"longer and longer", Length, Settings{0.15, 4, 1000}, []float64{60, 62, 59, 61, 60, 66, 58, 75, 90, 80, 82, 79}, []point{
			{4, 60.4896674, -0.00812800161, -0.000812800161, 0.0193672763, 0, 0, false},
			{5, 60.3914153, 0.0888077785, 0.00814925771, 0.0193672763, 0.0189268073, 0, false},
			{6, 61.2919345, -0.0552052494, 0.001813807, 0.0278688242, 0, 0, false},
			{7, 60.8104589, 0.209726318, 0.0195803276, 0.0289668302, 0.109598042, 0, false},
			{8, 62.4257335, 0.365832085, 0.0536050541, 0.0580740032, 0.399544663, 0, false},
			{9, 62.4257335, 0.248049049, 0.0730494536, 0.0580740032, 0.577712741, 0, false},
			{10, 62.4257335, 0.272741662, 0.0930186744, 0.0580740032, 0.780573432, 0, true},
			{11, 62.4257335, 0.235470267, 0.107263834, 0.0580740032, 0.869839864, 0, true},
		}, 7, 5, 0.305209907},
		{"a tenth shorter", Length, Settings{0.15, 4, 1000}, []float64{60, 62, 59, 61, 60, 61, 60, 59, 62, 60, 61, 60, 63, 61, 60, 54, 53.5, 54.5, 53, 54}, []point{
			{13, 60.6209278, 0.00623368783, 0.00421779225, 0.0193672763, 0, 0, false},
			{14, 60.652427, -0.0108150881, 0.00271450421, 0.0193672763, 0, 0, false},
			{15, 60.5977881, -0.115274346, -0.00908438085, 0.0193672763, 0, 0.0453933752, false},
			{16, 60.018461, -0.114970544, -0.0196729971, 0.0193672763, 0, 0.0904829476, false},
			{17, 60.018461, -0.0964514958, -0.027350847, 0.0193672763, 0, 0.117053472, true},
			{18, 60.018461, -0.124360284, -0.0366157623, 0.0193672763, 0, 0.150357086, true},
			{19, 60.018461, -0.105668151, -0.0435210011, 0.0193672763, 0, 0.150357086, true},
		}, 15, 5, -0.10536992},
		{"a watt more of standby", Standby, Settings{1.5, 4, 1000}, []float64{1, 1.2, 0.9, 1.1, 1, 1.3, 0.8, 1.1, 1, 0.9, 1.2, 1, 1.1, 2.1, 2.0, 2.15, 2.05, 2.1, 2.0}, []point{
			{4, 1.05, -0.05, -0.005, 0.193672763, 0, 0, false},
			{5, 1.04, 0.26, 0.0215, 0.193672763, 0, 0, false},
			{13, 1.04652778, 1.05347222, 0.105619059, 0.193672763, 0.303472222, 0, false},
			{14, 1.13431713, 0.86568287, 0.18162544, 0.193672763, 0.419155093, 0, false},
			{15, 1.20645737, 0.943542631, 0.257817159, 0.193672763, 0.612697724, 0, false},
			{18, 1.20645737, 0.793542631, 0.416048762, 0.193672763, 0.893325617, 0, false},
		}, 0, 0, 0},
		{"much more of standby", Standby, Settings{1.5, 4, 1000}, []float64{1, 1.2, 0.9, 1.1, 1, 1.3, 0.8, 1.1, 1, 0.9, 1.2, 1, 1.1, 2.9, 2.7, 3, 2.8, 2.8, 2.9}, []point{
			{12, 1.04166667, 0.0583333333, 0.000302041164, 0.193672763, 0, 0, false},
			{13, 1.04652778, 1.85347222, 0.120271837, 0.193672763, 0.45, 0, false},
			{15, 1.2009838, 1.7990162, 0.325420188, 0.193672763, 1.35, 0, true},
		}, 13, 6, 1.674758874},
	} {
		h := worked(c.f, c.values...)
		chart := Watch(c.f, h, c.s)
		if chart.Figure != c.f || len(chart.Points) != len(c.values) {
			t.Fatalf("%s: a chart of %s with %d points", c.name, chart.Figure, len(chart.Points))
		}
		for i, p := range chart.Points {
			if p.Charted != (i >= c.s.Reference) || p.Cycle != uint64(i+1) || !p.At.Equal(h.Cycles[i].End) || p.Value != c.values[i] || !p.Charted && (p.Signals || p.Usual != 0 || p.Off != 0) {
				t.Errorf("%s: point %d is %+v", c.name, i, p)
			}
		}
		for _, w := range c.want {
			p := chart.Points[w.number]
			got := []float64{p.Usual, p.Off, p.Average.Value, p.Average.Average, p.Average.High, -p.Average.Low, p.Sum.Rise, p.Sum.Sag}
			for k, v := range []float64{w.usual, w.off, w.off, w.average, w.limit, w.limit, w.rise, w.sags} {
				if math.Abs(got[k]-v) > 2e-8*max(1, math.Abs(v)) {
					t.Errorf("%s: figure %d of point %d is %.9g, want %.9g", c.name, k, w.number, got[k], v)
				}
			}
			if p.Signals != w.signals {
				t.Errorf("%s: point %d signals: %v", c.name, w.number, p.Signals)
			}
		}
		d := chart.Drift
		if (d != nil) != (c.cycles > 0) {
			t.Fatalf("%s: the drift is %+v", c.name, d)
		}
		if d == nil {
			continue
		}
		near(t, "the change", d.Change, c.change, 1e-8)
		if d.Figure != c.f || d.Cycles != c.cycles || !d.Since.Equal(h.Cycles[c.since].End) || !d.From.Equal(h.Cycles[0].End) || !d.To.Equal(h.Cycles[c.s.Reference-1].End) || !d.Last.Equal(h.Cycles[len(c.values)-1].End) {
			t.Errorf("%s: the drift is %+v", c.name, d)
		}
	}
}

// TestSteadyMachinesCreepToo: what grows so slowly that the charts get used to it is
// found against what was usual at first, although hardly a load differs from the next.
func TestSteadyMachinesCreepToo(t *testing.T) {
	for _, c := range []struct {
		name string
		f    Figure
		at   func(i int) float64 // i cycles after it began
		want bool
	}{
		{"half as long again in a thousand cycles", Length, func(i int) float64 { return 60 * math.Pow(1.0004, float64(i)) }, true},
		{"a third shorter", Length, func(i int) float64 { return 60 * math.Pow(0.9996, float64(i)) }, true},
		{"three watts more", Standby, func(i int) float64 { return 1 + float64(i)*0.003 }, true},
		{"a tenth longer", Length, func(i int) float64 { return 60 * math.Pow(1.0001, float64(i)) }, false},
		{"a watt more", Standby, func(i int) float64 { return 1 + float64(i)*0.001 }, false},
	} {
		var values []float64
		for i := range 1140 {
			values = append(values, c.at(max(0, i-140))*(1+0.01*float64(i%3-1)))
		}
		d := Watch(c.f, worked(c.f, values...), Usual(c.f)).Drift
		if (d != nil) != c.want || d != nil && (d.Cycles < 200 || d.Cycles > 1000 || !d.Since.Before(d.Last)) {
			t.Errorf("%s, from %.3g to %.3g: %+v", c.name, values[0], values[len(values)-1], d)
		}
	}
}

// TestUsualSettings: a lasting change of 15 %, or of 1.5 W of standby, after 40 cycles;
// wrong once in 15,000.
func TestUsualSettings(t *testing.T) {
	for _, f := range Figures() {
		want := Settings{Shift: 0.15, Reference: 40, Quiet: 15_000}
		if f == Standby {
			want.Shift = 1.5
		}
		if got := Usual(f); got != want {
			t.Errorf("%s: %+v", f, got)
		}
	}
}

// TestWhatIsNotCharted: cycles of no programme, and values that are none or that have no
// logarithm; a standby of 0 W is one.
func TestWhatIsNotCharted(t *testing.T) {
	for _, c := range []struct {
		f      Figure
		values []float64
		want   int
	}{
		{Length, []float64{60, math.NaN(), 0, -1, math.Inf(1), 61}, 2}, {Standby, []float64{1, 0, math.NaN(), math.Inf(1), 2}, 3},
	} {
		if got := len(Watch(c.f, worked(c.f, c.values...), Usual(c.f)).Points); got != c.want {
			t.Errorf("of %v %d are charted, want %d", c.values, got, c.want)
		}
	}
	h := worked(Length, 60, 61, 62)
	h.Programmes[1] = None
	if got := Watch(Length, h, Usual(Length)).Points; len(got) != 2 || got[1].Cycle != 3 {
		t.Errorf("charted are %+v", got)
	}
}
