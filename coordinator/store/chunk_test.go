package store

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator/cycle"
)

// sameBits compares readings bit by bit, but every NaN is like another.
func sameBits(a, b []cycle.Reading) bool {
	like := func(x, y float64) bool {
		return math.IsNaN(x) && math.IsNaN(y) || math.Float64bits(x) == math.Float64bits(y)
	}
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if !a[i].At.Equal(b[i].At) || !like(a[i].Watts, b[i].Watts) || !like(a[i].Wh, b[i].Wh) {
			return false
		}
	}
	return true
}

func TestSpans(t *testing.T) {
	for _, c := range []struct {
		at   string
		span int64
	}{
		{"1970-01-01T00:00:00Z", 0},
		{"1970-01-01T05:59:59.999999999Z", 0},
		{"1970-01-01T06:00:00Z", 1},
		{"1969-12-31T23:59:59Z", -1},
		{"1969-12-31T18:00:00Z", -1},
		{"1969-12-31T17:59:59Z", -2},
	} {
		when := get[time.Time](t)(time.Parse(time.RFC3339Nano, c.at))
		if got := spanOf(when); got != c.span {
			t.Errorf("%s is in span %d, want %d", c.at, got, c.span)
		}
		if n := nanos(when, c.span); n < 0 || n >= spanSec*1e9 {
			t.Errorf("%s is %d ns into its span", c.at, n)
		}
	}
}

func TestColumnForms(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		form   byte
	}{
		{"whole watts", []float64{0, 2, 2013}, 0},
		{"tenths", []float64{1.9, 2013.7}, 1},
		{"hundredths of a register", []float64{1234567.89, 1234567.9}, 2},
		{"six places", []float64{0.000001}, 6},
		{"a third", []float64{1.0 / 3}, columnXOR},
		{"minus zero", []float64{math.Copysign(0, -1)}, columnXOR},
		{"not finite", []float64{math.Inf(-1)}, columnXOR},
		{"too large for whole numbers", []float64{1e300}, columnXOR},
	} {
		if got := formOf(c.values); got != c.form {
			t.Errorf("%s: form %d, want %d", c.name, got, c.form)
		}
	}
}

// drawReadings makes what meters send: even and uneven pace, coarse and fine
// clocks, tenths of a watt and any bits at all, values that are absent.
func drawReadings(t *rapid.T) []cycle.Reading {
	unit := rapid.SampledFrom([]time.Duration{time.Second, time.Millisecond, time.Microsecond, 1}).Draw(t, "unit")
	value := func(name string) float64 {
		switch rapid.IntRange(0, 3).Draw(t, name+" kind") {
		case 0:
			return math.NaN()
		case 1:
			return math.Float64frombits(rapid.Uint64().Draw(t, name+" bits"))
		default:
			return float64(rapid.IntRange(-1000, 30000).Draw(t, name)) / 10
		}
	}
	n := rapid.IntRange(1, 40).Draw(t, "readings")
	when := time.Unix(rapid.Int64Range(-10, 10).Draw(t, "span")*spanSec, 0)
	all := make([]cycle.Reading, n)
	for i := range all {
		// 40 steps of at most 500 s stay within the span of 21,600 s.
		when = when.Add(time.Duration(rapid.Int64Range(0, int64(500*time.Second/unit)).Draw(t, "step")) * unit)
		all[i] = cycle.Reading{At: when, Watts: value("watts"), Wh: value("wh")}
	}
	return all
}

func TestChunkRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := drawReadings(t)
		span := spanOf(all[0].At)
		chunk := encodeChunk(all, span, rapid.Bool().Draw(t, "sealed"))
		back, err := decodeChunk(chunk, span)
		if err != nil || !sameBits(all, back) {
			t.Fatalf("%v came back as %v, %v", all, back, err)
		}
		h, _, err := decodeHead(chunk)
		if err != nil || h.count != len(all) || !h.instant(span, h.first).Equal(all[0].At) || !h.instant(span, h.last).Equal(all[len(all)-1].At) {
			t.Fatalf("the head says %+v, %v", h, err)
		}
	})
}

func TestDamagedChunks(t *testing.T) {
	all := make([]cycle.Reading, 100)
	for i := range all {
		all[i] = cycle.Reading{At: at(float64(i)), Watts: float64(i % 7), Wh: math.NaN()}
	}
	span := spanOf(noon)
	for _, sealed := range []bool{false, true} {
		good := encodeChunk(all, span, sealed)
		if got := good[0]&flagDeflated != 0; got != sealed {
			t.Errorf("sealed %v, compressed %v", sealed, got)
		}
		for n := range good {
			if _, err := decodeChunk(good[:n], span); !errors.Is(err, errChunk) {
				t.Errorf("cut to %d bytes: %v", n, err)
			}
		}
		if _, err := decodeChunk(append(bytes.Clone(good), 0), span); !sealed && !errors.Is(err, errChunk) {
			t.Errorf("with a byte more: %v", err)
		}
	}
}

// FuzzDecodeChunk: whatever the bytes, there is an answer, and what decodes
// encodes to the same readings again.
func FuzzDecodeChunk(f *testing.F) {
	span := spanOf(noon)
	for _, sealed := range []bool{false, true} {
		f.Add(encodeChunk(steady(200), span, sealed))
	}
	f.Add(encodeChunk([]cycle.Reading{{At: noon, Watts: 1.0 / 3, Wh: math.NaN()}, {At: at(0.001), Watts: math.NaN(), Wh: 5}}, span, false))
	f.Fuzz(func(t *testing.T, data []byte) {
		all, err := decodeChunk(data, span)
		if err != nil {
			return
		}
		back, err := decodeChunk(encodeChunk(all, span, true), span)
		if err != nil || !sameBits(all, back) {
			t.Fatalf("%v came back as %v, %v", all, back, err)
		}
	})
}

// steady is a machine that stands by with a little noise, a reading a second.
func steady(n int) []cycle.Reading {
	noise := rand.New(rand.NewPCG(1, 2))
	all := make([]cycle.Reading, n)
	for i := range all {
		all[i] = cycle.Power(at(float64(i)), math.Round(18+4*noise.Float64())/10)
	}
	return all
}

// TestSizeOnMeasuredTraces stores measured traces the way the loop does, some
// readings at a time, and holds the size to a bound. The traces are of REFIT
// (Murray, Stankovic, Stankovic 2017, doi 10.1038/sdata.2016.122; here means
// over 30 s) and of tracebase (Reinhardt and others 2012; a reading every 1-8 s).
func TestSizeOnMeasuredTraces(t *testing.T) {
	for _, c := range []struct {
		name  string
		bound float64 // bytes a reading, keys included
	}{
		{"refit/washer-1.csv.gz", 0.5},
		{"tracebase/dryer-1.csv.gz", 1.5},
	} {
		t.Run(c.name, func(t *testing.T) { sizeOf(t, trace(t, c.name, 30000), c.bound) })
	}
}

// TestSizeOfNoise is the worst ordinary case: a meter that gives hundredths of
// a watt every second with noise in the last places, and a register.
func TestSizeOfNoise(t *testing.T) {
	all := steady(20000)
	noise := rand.New(rand.NewPCG(3, 4))
	for i := range all {
		all[i].Watts = math.Round(180+40*noise.NormFloat64()) / 100
		all[i].Wh = math.Floor(float64(i)/180) / 10
	}
	sizeOf(t, all, 2)
}

func sizeOf(t *testing.T, all []cycle.Reading, bound float64) {
	f, _ := openFile(t)
	store(t, f, all, 40)
	got := readings(t, f, "cellar", "w1", all[0].At, all[len(all)-1].At.Add(1))
	if len(got) != len(all) {
		t.Fatalf("%d readings came back of %d", len(got), len(all))
	}
	for i := range got {
		if !sameBits([]cycle.Reading{got[i].Reading}, all[i:i+1]) {
			t.Fatalf("reading %d came back as %s", i, plain(got[i]))
		}
	}
	chunks, size := chunkBytes(t, f)
	per := float64(size) / float64(len(all))
	t.Logf("%d readings in %d chunks: %.2f bytes a reading, keys included", len(all), chunks, per)
	if per > bound {
		t.Errorf("%.2f bytes a reading, more than %.1f", per, bound)
	}
}

func TestSmallChunksAreMerged(t *testing.T) {
	f, _ := openFile(t)
	store(t, f, steady(3000), 5) // 600 flushes in one span
	if chunks, size := chunkBytes(t, f); chunks != 6 {
		t.Errorf("%d chunks of %d bytes instead of 6", chunks, size)
	}
	wantSame(t, "readings", len(readings(t, f, "cellar", "w1", at(0), at(3000))), 3000)
}
