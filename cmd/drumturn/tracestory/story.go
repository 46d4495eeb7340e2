package tracestory

import (
	"math"
	"slices"
	"time"

	"drumturn/coordinator/cycle"
)

// ask is one answer about the remaining time.
type ask struct {
	at time.Time
	cycle.Estimate
}

// run is one cycle as it was told.
type run struct {
	start, end, told time.Time
	kind             cycle.Kind
	energyWh, peakW  float64
	// cutOff: the recording ends in it, so it was never told over.
	cutOff  bool
	stalled bool
	asks    []ask
}

func (r *run) length() time.Duration { return r.end.Sub(r.start) }

// answer is what was said about the remaining time at an instant: the answer
// before it, aged; ok is false when there is none from the last two minutes.
func (r *run) answer(at time.Time) (e cycle.Estimate, ok bool) {
	i, exact := slices.BinarySearchFunc(r.asks, at, func(a ask, at time.Time) int { return a.at.Compare(at) })
	if !exact {
		i--
	}
	if i < 0 || at.Sub(r.asks[i].at) > 2*askEvery {
		return e, false
	}
	e = r.asks[i].Estimate
	age := at.Sub(r.asks[i].at)
	e.Median, e.Low, e.High = max(0, e.Median-age), max(0, e.Low-age), max(0, e.High-age)
	return e, true
}

// silence is a stretch without a word from the meter.
type silence struct{ from, to time.Time }

// point is a reading as the drawing needs it.
type point struct {
	at time.Time
	w  float32
}

// story collects what happens in a replay.
type story struct {
	name, kind  string
	runs        []run
	silences    []silence
	readings    int
	first, last time.Time
	peakW       float64
	// derived is the power of a meter that gives only its register.
	derived cycle.RegisterPower
	// points are kept only where a drawing is wanted.
	points []point
	draw   bool
	// open says that the last of runs is still running.
	open bool
}

func newStory(name, kind string, draw bool) *story {
	return &story{name: name, kind: kind, draw: draw}
}

func (s *story) heard(r cycle.Reading) {
	if s.readings++; s.readings == 1 {
		s.first = r.At
	}
	if r.At.After(s.last) {
		s.last = r.At
	}
	w := r.Watts
	if math.IsNaN(w) {
		w = s.derived.Add(r.At, r.Wh)
	}
	if math.IsNaN(w) {
		return
	}
	s.peakW = math.Max(s.peakW, w)
	if s.draw {
		s.points = append(s.points, point{r.At, float32(w)})
	}
}

func (s *story) said(e cycle.Event) {
	switch {
	case e.Kind == cycle.Started:
		s.runs = append(s.runs, run{start: e.Start})
		s.open = true
	case e.Kind == cycle.Resumed && len(s.runs) > 0:
		s.open = true
	case e.Kind.Ends() && s.open:
		r := s.running()
		r.start, r.end, r.told, r.kind, r.energyWh, r.peakW = e.Start, e.End, e.At, e.Kind, e.EnergyWh, e.PeakW
		s.open = false
	case e.Kind == cycle.Stalled && s.open:
		s.running().stalled = true
	case e.Kind == cycle.Silent:
		s.silences = append(s.silences, silence{from: e.Start})
	case e.Kind == cycle.Heard && len(s.silences) > 0:
		s.silences[len(s.silences)-1].to = e.At
	}
}

func (s *story) running() *run { return &s.runs[len(s.runs)-1] }

func (s *story) asked(now, _ time.Time, e cycle.Estimate) {
	if s.open {
		r := s.running()
		r.asks = append(r.asks, ask{now, e})
	}
}

// over closes a cycle that the recording cuts off at the last work in it.
func (s *story) over(_ time.Time, st cycle.Status) {
	if !s.open {
		return
	}
	r := s.running()
	r.end, r.cutOff, r.energyWh, r.peakW = lastWork(st), true, st.EnergyWh, st.PeakW
}

// lastWork is the newest instant at which a running cycle was seen to work.
func lastWork(st cycle.Status) time.Time {
	if st.LastWork.Before(st.Start) {
		return st.Last.At
	}
	return st.LastWork
}
