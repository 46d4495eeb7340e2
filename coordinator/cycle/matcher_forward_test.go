package cycle

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// forward is the matcher's model written down plainly: each step makes new weights
// from old ones, in whole arrays, and nothing is given up. It follows the recursion
// of the forward algorithm (L. R. Rabiner, Proc. IEEE 77 (1989) 257-286, eq. 19-21).
type forward struct {
	runs         []run
	w            [][]float64
	gone         []float64
	novel        float64
	power        float64
	novelFits    float64
	jumps, lasts float64
	begun        bool
}

func newForward(s Settings, runs []run) *forward {
	f := &forward{runs: runs, gone: make([]float64, len(runs)), novel: 1 / float64(len(runs)+2)}
	one, lasts := pliant(s)
	n := float64(len(runs))
	f.jumps, f.lasts = one/(1+n/jumpRuns), lasts
	f.power = temper - temperLess*math.Log10(1+n)
	f.novelFits = math.Pow(novelFit, f.power/0.6)
	sum := 0.0
	for i, r := range runs {
		sum += r.Weight * math.Pow(0.98, float64(len(runs)-1-i)) // a run is less likely than the next
	}
	for i, r := range runs {
		w := make([]float64, len(r.Codes))
		if len(w) > 0 && !r.Cut {
			w[0] = (1 - f.novel) * r.Weight * math.Pow(0.98, float64(len(runs)-1-i)) / sum
		}
		f.w = append(f.w, w)
	}
	return f
}

func (f *forward) fits(a, b byte) float64 {
	return math.Pow(0.9*math.Exp(-math.Abs(float64(a)-float64(b))/fitScale)+fitFloor, f.power)
}

func (f *forward) step(code byte) {
	total := 0.0
	for i, r := range f.runs {
		if f.begun {
			f.move(i, code)
		} else if len(r.Codes) > 0 {
			f.w[i][0] *= f.fits(code, r.Codes[0])
		}
		f.gone[i] *= f.novelFits
		for _, w := range f.w[i] {
			total += w
		}
		total += f.gone[i]
	}
	f.begun = true
	f.novel *= f.novelFits
	total += f.novel
	f.novel = max(f.novel/total, 1e-6) // it is never ruled out
	for i := range f.w {
		f.gone[i] /= total
		for j := range f.w[i] {
			f.w[i][j] /= total
		}
	}
}

func (f *forward) move(i int, code byte) {
	old, codes := f.w[i], f.runs[i].Codes
	n := len(old)
	if n == 0 {
		return
	}
	at := func(j int) float64 {
		if j < 0 {
			return 0
		}
		return old[j]
	}
	f.gone[i] += at(n-1)*(1-moveStay) + at(n-2)*moveSkip
	w := make([]float64, n)
	for j := range w {
		w[j] = (at(j)*moveStay + at(j-1)*(1-moveStay-moveSkip) + at(j-2)*moveSkip) * f.fits(code, codes[j])
	}
	marks := f.runs[i].Marks
	for _, j := range marks {
		before := 0.0
		for k := range min(n, j+jumpBack) {
			before += old[k]
		}
		lasts := at(j-1) * (f.lasts - moveStay)
		w[j-1] += lasts * f.fits(code, codes[j-1])
		w[j] -= min(w[j], lasts*f.fits(code, codes[j]))
		w[j] += f.jumps / float64(len(marks)) * before * f.fits(code, codes[j])
	}
	f.w[i] = w
}

// TestMatcherIsTheForwardAlgorithm: of any runs and any present, the weights are those
// of the plain recursion, when none are given up as too small.
func TestMatcherIsTheForwardAlgorithm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set := washer()
		if rapid.Bool().Draw(t, "dryer") {
			set = dryer()
		}
		level := rapid.SampledFrom([]float64{5, 60, 110, 150, 420, 2000})
		course := func(what string) (watts []float64) {
			for range rapid.IntRange(1, 5).Draw(t, what) {
				watts = append(watts, minutes(rapid.IntRange(1, 14).Draw(t, "min"), level.Draw(t, "W"))...)
			}
			return watts
		}
		var runs []run
		for range rapid.IntRange(0, 5).Draw(t, "runs") {
			r := runOf(1, course("parts")...)
			r.Weight = rapid.Float64Range(0.5, 4).Draw(t, "weight")
			r.Cut = rapid.IntRange(0, 5).Draw(t, "cut") == 0
			runs = append(runs, r)
		}
		m, f := matched(set, runs), newForward(set, runs)
		for n, w := range course("parts now") {
			code := codeOf(w * rapid.Float64Range(0.9, 1.1).Draw(t, "off"))
			m.least = 0 // gives up nothing
			m.step(code, runs)
			f.step(code)
			if d := math.Abs(m.novel - f.novel); d > 1e-3 {
				t.Fatalf("minute %d: a programme never seen has %v, want %v", n, m.novel, f.novel)
			}
			beyond := 0.0
			for i := range runs {
				want := f.gone[i]
				beyond += f.gone[i]
				for j, v := range f.w[i] {
					want += v
					if got := float64(m.weight[i][j]); math.Abs(got-v) > 1e-3 {
						t.Fatalf("minute %d: run %d at %d has %v, want %v", n, i, j, got, v)
					}
				}
				if math.Abs(m.of(i)-want) > 1e-3 {
					t.Fatalf("minute %d: run %d has %v, want %v", n, i, m.of(i), want)
				}
			}
			if math.Abs(m.beyond-beyond) > 1e-3 {
				t.Fatalf("minute %d: beyond all runs %v, want %v", n, m.beyond, beyond)
			}
		}
	})
}

// TestWhatIsGivenUpIsLittle: of a present that goes as one of the runs did, giving up
// what is far below the likeliest changes hardly anything.
func TestWhatIsGivenUpIsLittle(t *testing.T) {
	var runs []run
	for heat := range 8 {
		runs = append(runs, runOf(1, course3(10+heat)...))
	}
	runs = append(runs, runOf(2, minutes(40, 150)...))
	m, f := matched(washer(), runs), newForward(washer(), runs)
	kept := 0
	for n, w := range course3(13) {
		m.step(codeOf(w), runs)
		f.step(codeOf(w))
		kept = 0
		for i := range runs {
			kept += m.alive[i][1] - m.alive[i][0]
			if d := math.Abs(m.of(i) - f.gone[i] - sumOf(f.w[i])); d > 0.03 {
				t.Fatalf("minute %d: run %d is off by %v", n, i, d)
			}
		}
	}
	if kept > 150 {
		t.Errorf("%d places are alive at the end: nothing was given up", kept)
	}
}

func sumOf(w []float64) (sum float64) {
	for _, v := range w {
		sum += v
	}
	return sum
}

// TestMatcherBeginsAnew: what a cycle has left behind, of more runs or of others, does
// not show in the next.
func TestMatcherBeginsAnew(t *testing.T) {
	long := []run{runOf(1, course3(15)...), runOf(2, minutes(30, 150)...), runOf(3, minutes(9, 700)...)}
	short := []run{runOf(1, minutes(12, 60)...)}
	used := matched(washer(), long, course3(20)...)
	used.begin(short)
	fresh := matched(washer(), short)
	for n := range 20 {
		code := codeOf(60 + 10*float64(n))
		used.step(code, short)
		fresh.step(code, short)
		if used.of(0) != fresh.of(0) || used.novel != fresh.novel || used.beyond != fresh.beyond {
			t.Fatalf("minute %d: %v, %v, %v and afresh %v, %v, %v", n,
				used.of(0), used.novel, used.beyond, fresh.of(0), fresh.novel, fresh.beyond)
		}
	}
	if len(used.weight) != 1 || len(used.alive) != 1 || len(used.gone) != 1 {
		t.Errorf("it still holds %d runs", len(used.weight))
	}
}

// TestMatcherOutlastsItsRuns: of a cycle that goes on when all that are known are over
// more and more is beyond them or of a programme never seen, and near its end.
func TestMatcherOutlastsItsRuns(t *testing.T) {
	runs := []run{runOf(1, minutes(20, 110)...)}
	m := matched(washer(), runs, minutes(21, 110)...)
	before := m.beyond + m.novel
	if near, known := m.near(nearEnd, runs); near < 0.9 || known < 0.9 || m.beyond <= 0 {
		t.Errorf("near its end with %v, known with %v, beyond it with %v", near, known, m.beyond)
	}
	for range 60 {
		m.step(codeOf(110), runs)
	}
	if after := m.beyond + m.novel; after < 0.9 || after <= before {
		t.Errorf("an hour after %v, at its end %v", after, before)
	}
}
