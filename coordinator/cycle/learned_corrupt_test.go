package cycle

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// leaf is a value in a decoded checkpoint: where it is, and how to put another there.
type leaf struct {
	path string
	was  any
	put  func(any)
}

// leaves lists every value of a decoded checkpoint in an order that does not vary;
// of a long list only the first and the last elements.
func leaves(path string, v any, put func(any)) (out []leaf) {
	out = append(out, leaf{path, v, put})
	switch v := v.(type) {
	case map[string]any:
		keys := make([]string, 0, len(v))
		for k := range v {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		for _, k := range keys {
			out = append(out, leaves(path+"."+k, v[k], func(x any) { v[k] = x })...)
		}
	case []any:
		for i := range v {
			if i < 2 || i == len(v)-1 {
				out = append(out, leaves(fmt.Sprintf("%s[%d]", path, i), v[i], func(x any) { v[i] = x })...)
			}
		}
	}
	return out
}

// wrongs are values that stand in the place of another, by its kind.
func wrongs(was any) []any {
	switch was := was.(type) {
	case json.Number:
		return []any{
			json.Number("0"), json.Number("-1"), json.Number("1"), json.Number("7"), json.Number("1000000"),
			json.Number("-1000000000000"), json.Number("9223372036854775807"), json.Number("-9223372036854775808"),
			json.Number("1e300"), json.Number("-1e300"), json.Number("1.5"), json.Number("1e-300"), nil, "text",
		}
	case bool:
		return []any{!was, nil}
	case string:
		return []any{"", "AQID", strings.Repeat("/w", 300), "0001-01-01T00:00:00Z", "1970-01-01T00:00:00Z", "9999-12-31T23:59:59Z", nil}
	case []any:
		return []any{[]any{}, slices.Concat(was, was, was, was), nil}
	case nil:
		return []any{json.Number("3"), []any{}, "AQID"}
	}
	return []any{nil, map[string]any{}, []any{}}
}

// soundPoints are checkpoints of machines in every state, to be spoilt.
var soundPoints = sync.OnceValue(func() (points []Checkpoint) {
	keep := func(e *Learned) {
		c, err := e.Checkpoint()
		if err != nil {
			panic(err)
		}
		points = append(points, c)
	}
	for _, name := range []string{"washer", "condenser dryer"} {
		k := machineKinds[name]
		g, e, at := newProgrammes(3), New(k.set), t0
		keep(e)
		for range 4 {
			c := k.course(g, at)
			rs := registered(sample(c, 20*time.Second), 100, 1, 0)
			watchAll(e, rs)
			at = at.Add(c.length())
		}
		keep(e)
		c := k.course(g, at)
		rs := registered(sample(c, 20*time.Second), 3000, 1, 0)
		for i, r := range rs {
			watchAll(e, []Reading{r})
			if i%(len(rs)/5) == 20 || e.mem.Lull.Active && i%7 == 0 && len(points) < 12 {
				keep(e)
			}
		}
	}
	return points
})

// decoded is a checkpoint's data, numbers as they are written.
func decoded(t *rapid.T, data []byte) any {
	dec := json.NewDecoder(strings.NewReader(string(data)))
	dec.UseNumber()
	var v any
	if err := dec.Decode(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

// soundly lets an engine watch a cycle, asking it all the time, and fails when what
// it says is no number, out of order, or cannot be written down.
func soundly(t *rapid.T, e *Learned, rs []Reading) {
	for _, r := range rs {
		events := slices.Clone(e.Tick(r.At.Add(-time.Second)))
		events = append(events, e.Read(r.At, r)...)
		for _, ev := range events {
			if !isFinite(ev.EnergyWh) || !isFinite(ev.PeakW) || ev.EnergyWh < 0 {
				t.Fatalf("%s with %v Wh, %v W", ev.Kind, ev.EnergyWh, ev.PeakW)
			}
			if ev.Kind.Ends() && ev.End.Before(ev.Start) {
				t.Fatalf("%s from %v to %v", ev.Kind, ev.Start, ev.End)
			}
		}
		if est, ok := e.Remaining(r.At); ok && (est.Low < 0 || est.Median < est.Low || est.High < est.Median) {
			t.Fatalf("remaining %+v", est)
		}
		if st := e.Status(); !isFinite(st.EnergyWh) || !isFinite(st.PeakW) || st.EnergyWh < 0 {
			t.Fatalf("status %+v", st)
		}
		e.Next()
	}
	if last := e.Status().Last.At; !last.Equal(rs[len(rs)-1].At) {
		t.Fatalf("it does not listen any more: the newest reading is at %v", last)
	}
	for _, p := range e.Knowledge().Programmes {
		if p.Length < 0 || math.IsNaN(p.Wh) {
			t.Fatalf("%+v", p)
		}
	}
	if _, err := e.Checkpoint(); err != nil {
		t.Fatalf("checkpoint afterwards: %v", err)
	}
}

// TestSpoiltCheckpoints: whatever one or two values of a checkpoint have become, it
// is refused with an error and the engine is as new, or the engine goes on soundly.
func TestSpoiltCheckpoints(t *testing.T) {
	refused, taken := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		point := soundPoints()[rapid.IntRange(0, len(soundPoints())-1).Draw(t, "point")]
		doc := decoded(t, point.Data)
		for range rapid.IntRange(1, 2).Draw(t, "values") {
			all := leaves("", doc, func(any) {})
			l := all[rapid.IntRange(1, len(all)-1).Draw(t, "leaf")]
			x := rapid.SampledFrom(wrongs(l.was)).Draw(t, "wrong")
			t.Logf("%s: %v is %v", l.path, l.was, x)
			l.put(x)
		}
		data, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		spoilt := point
		spoilt.Data = data
		set := washer()
		set.Dryer = rapid.Bool().Draw(t, "dries too")
		e := New(set)
		err = e.Restore(spoilt)
		if err != nil {
			refused++
			if s := e.Status(); s.Running || !s.Last.At.IsZero() || errors.Is(err, ErrVersion) {
				t.Fatalf("after %q it is not as new: %+v", err, s)
			}
		} else {
			taken++
		}
		at := point.At.Add(time.Duration(rapid.IntRange(0, 3000).Draw(t, "minutes later")) * time.Minute)
		soundly(t, e, registered(sample(newProgrammes(5).wash(at.Add(time.Second)), 30*time.Second), 5000, 1, 0))
	})
	if refused == 0 || taken == 0 {
		t.Errorf("%d refused, %d taken: nothing was tried", refused, taken)
	}
}
