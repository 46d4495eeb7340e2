package usage

import (
	"context"
	"time"

	"drumturn/coordinator"
)

// refreshAtMost is how many days are summed up again in one run.
const refreshAtMost = 400

// refresh sums up again the days whose sums are of an older edition, or divided
// by a tariff that holds on them no longer because another was set for the same
// days. It reports whether some are left for the next run.
func refresh(ctx context.Context, s Store, room *Room, zone *time.Location, now time.Time, keepReadings int) (more bool, err error) {
	measured := DateOf(now, zone).Add(-keepReadings)
	var stale []Date
	err = eachDay(ctx, s, room.ID, "", Date{Year: 1, Month: 1, Day: 1}, DateOf(now, zone), func(sum *Summary) {
		if len(stale) <= refreshAtMost && (sum.V < edition || !sum.Date.Before(measured) && sum.repriced(room.Tariffs)) {
			stale = append(stale, sum.Date)
		}
	})
	if err != nil {
		return false, err
	}
	h := factReader{s: s, room: room.ID}
	for i, d := range stale {
		if i == refreshAtMost {
			return true, nil
		}
		if err := sumUpAgain(ctx, s, room, &h, d, zone, now); err != nil {
			return false, err
		}
		if err := ctx.Err(); err != nil {
			return true, err
		}
	}
	return false, nil
}

// repriced reports whether the day's energy is divided by another tariff than the
// one that holds on it.
func (s *Summary) repriced(tariffs coordinator.Tariffs) bool {
	version := 0
	if v := tariffs.On(s.Date); v != nil {
		version = v.Version
	}
	for _, u := range s.Used {
		if u.Tariff != version {
			return true
		}
	}
	return false
}
