package coordinator

import (
	"time"

	"drumturn/queue"
)

// Forecast says when a waiting turn is likely to be called.
type Forecast struct {
	Turn              TurnID
	Median, Low, High time.Time
	// Known is false when nothing can be said (no machine that serves it works).
	Known bool
}

// Prospects are the forecasts of a room, worked out as of At. They are immutable.
type Prospects struct {
	At time.Time
	// Turns are the forecasts of the turns that waited then, in their order.
	Turns []Forecast
	// IfYouJoin is the forecast for a newcomer, by need.
	IfYouJoin map[queue.Need]Forecast
}

// With is the snapshot with forecasts: of p, for the turns that still wait. Those
// that joined since have none. A nil p gives a snapshot without any.
func (s *Snapshot) With(p *Prospects) *Snapshot {
	c := *s
	c.Forecasts, c.IfYouJoin, c.ForecastAt = nil, nil, time.Time{}
	if p == nil {
		return &c
	}
	c.ForecastAt, c.IfYouJoin = p.At, p.IfYouJoin
	of := make(map[TurnID]*Forecast, len(p.Turns))
	for i := range p.Turns {
		of[p.Turns[i].Turn] = &p.Turns[i]
	}
	for i := range s.Turns {
		if f := of[s.Turns[i].ID]; f != nil && s.Turns[i].State == queue.Waiting {
			c.Forecasts = append(c.Forecasts, *f)
		}
	}
	return &c
}

// Forecast finds a turn's forecast; nil when there is none.
func (s *Snapshot) Forecast(id TurnID) *Forecast {
	for i := range s.Forecasts {
		if s.Forecasts[i].Turn == id {
			return &s.Forecasts[i]
		}
	}
	return nil
}
