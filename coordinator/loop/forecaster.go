package loop

import (
	"context"
	"time"

	"drumturn/coordinator"
)

// forecastEvery is how often a room's forecasts are worked out at most. It spares
// the processor, so it is real time whatever the building's clock does.
const forecastEvery = time.Second

// forecaster works out a room's forecasts, away from its loop.
type forecaster struct {
	wanted chan *coordinator.Foresight // the newest; has room for one
	tell   func(*coordinator.Prospects)
}

func newForecaster(tell func(*coordinator.Prospects)) *forecaster {
	return &forecaster{wanted: make(chan *coordinator.Foresight, 1), tell: tell}
}

// want asks for a forecast, instead of the one that was asked for before and is
// not begun. It never blocks. Only one goroutine may call it.
func (f *forecaster) want(next *coordinator.Foresight) {
	select {
	case <-f.wanted:
	default:
	}
	f.wanted <- next
}

// run works until ctx ends.
func (f *forecaster) run(ctx context.Context) {
	rest := time.NewTimer(0)
	defer rest.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-rest.C:
		}
		select {
		case <-ctx.Done():
			return
		case next := <-f.wanted:
			f.tell(next.Prospects())
		}
		rest.Reset(forecastEvery)
	}
}
