package score

import (
	"time"

	"drumturn/coordinator/cycle"
)

// Cycle is one cycle as a detector reported it.
type Cycle struct {
	Start, End time.Time
	// Declared is when the detector said that it was over; zero at the end of the file.
	Declared time.Time
	Kind     cycle.Kind
	// AtEndOfFile marks a cycle that the end of the recording cut off.
	AtEndOfFile bool
}

// Answer is what a detector said about the remaining time at one instant, in
// minutes; all zero when it did not think that the machine was running.
type Answer struct {
	At                time.Time
	Median, Low, High float64
}

// NewEngine makes a fresh engine.
type NewEngine func(cycle.Settings) cycle.Engine

// watch feeds a recording once, in time order, ticks the engine when it wants
// to be, and asks it for the remaining time at each instant of ask (ascending).
func watch(e cycle.Engine, rs []cycle.Reading, ask []time.Time) watcher {
	w := watcher{engine: e, answers: make([]Answer, 0, len(ask))}
	for _, r := range rs {
		for len(ask) > 0 && ask[0].Before(r.At) {
			w.tickUntil(ask[0])
			w.ask(ask[0])
			ask = ask[1:]
		}
		w.tickUntil(r.At)
		w.take(e.Read(r.At, r))
		if r.Watts >= workW {
			w.lastWork = r.At
		}
	}
	for _, at := range ask {
		w.ask(at)
	}
	w.close()
	return w
}

// workW is what counts as work at the end of a file for an engine that does not
// say itself when it last saw work: the labels' own rule, W.
const workW = 8

type watcher struct {
	engine cycle.Engine
	// cycles are those told in the end, takenBack what was declared and withdrawn.
	cycles, takenBack []Cycle
	answers           []Answer
	lastWork          time.Time
}

func (w *watcher) tickUntil(t time.Time) {
	for range 100 {
		due := w.engine.Next()
		if due.IsZero() || !due.Before(t) {
			return
		}
		w.take(w.engine.Tick(due))
	}
}

func (w *watcher) take(events []cycle.Event) {
	for _, ev := range events {
		if n := len(w.cycles); ev.Kind == cycle.Resumed && n > 0 {
			w.takenBack = append(w.takenBack, w.cycles[n-1])
			w.cycles = w.cycles[:n-1]
		}
		if ev.Kind.Ends() {
			w.cycles = append(w.cycles, Cycle{Start: ev.Start, End: ev.End, Declared: ev.At, Kind: ev.Kind})
		}
	}
}

func (w *watcher) ask(at time.Time) {
	a := Answer{At: at}
	if e, ok := w.engine.Remaining(at); ok {
		a.Median, a.Low, a.High = e.Median.Minutes(), e.Low.Minutes(), e.High.Minutes()
	}
	w.answers = append(w.answers, a)
}

// close ends a cycle that is still open with the recording.
func (w *watcher) close() {
	st := w.engine.Status()
	if !st.Running {
		return
	}
	end := st.LastWork
	if end.IsZero() {
		end = w.lastWork
	}
	w.cycles = append(w.cycles, Cycle{Start: st.Start, End: end, AtEndOfFile: true})
}
