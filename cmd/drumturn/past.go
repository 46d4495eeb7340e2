package main

import (
	"math"

	"drumturn/coordinator/cycle"
	"drumturn/coordinator/meter"
	"drumturn/coordinator/store"
	"drumturn/coordinator/usage/hindsight"
)

// past is what the pages about machines read: the store itself, fresh engines,
// and how the meters do.
type past struct {
	*store.File
	app *app
}

// Engine makes an engine that knows nothing yet.
func (p past) Engine(s cycle.Settings) cycle.Engine { return p.app.engine(s) }

// Meter is how a meter does now.
func (p past) Meter(name string) (hindsight.Meter, bool) {
	h := p.app.meters.Health()
	m, ok := h.Meter(name)
	return meterState(&m), ok
}

// meterState is a meter's health as pages show it.
func meterState(m *meter.MeterHealth) hindsight.Meter {
	s := hindsight.Meter{
		Heard: m.Heard, Watts: m.Last.Watts, Wh: m.Last.Wh, Silent: m.Silent,
		Taken: m.Taken, Failures: m.Failures, Trouble: m.Trouble, TroubleKind: m.Reason.Word(),
	}
	if m.Heard.IsZero() {
		s.Watts, s.Wh = math.NaN(), math.NaN()
	}
	for _, n := range m.Refused {
		s.Refused += n
	}
	if !m.Heard.IsZero() && !m.Last.Stamp.IsZero() {
		s.Skew, s.HasSkew = m.Heard.Sub(m.Last.Stamp), true
	}
	return s
}
