package usage

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"drumturn/coordinator"
)

// repackAtOnce is how many sums are packed in one transaction.
const repackAtOnce = 500

// errEnough ends a reading of sums early.
var errEnough = errors.New("enough for one transaction")

// repack packs a room's sums that earlier programs stored as JSON: reports read
// them far faster so. What they say stays as it is. It is done once for a layout.
func (k *Keeper) repack(ctx context.Context, room coordinator.RoomID, now time.Time) error {
	job, date := "repack/"+string(room), fmt.Sprint("layout ", layout)
	done, err := k.store.JobDone(ctx, job, date)
	if err != nil || done {
		return err
	}
	for _, prefix := range []string{"", monthsOf, homeDays, homeMonths} {
		prefix += string(room)
		if err := repackRange(ctx, k.store, prefix+"/", prefix+"0"); err != nil {
			return err
		}
	}
	return k.store.MarkJob(ctx, job, date, now)
}

// repackRange packs the sums whose keys lie in a range, some at a time.
func repackRange(ctx context.Context, s Store, from, to string) error {
	for from != "" {
		var rows []coordinator.Rollup
		next := ""
		err := eachSum(ctx, s, from, to, func(key string, value []byte) error {
			if !written(value) {
				return nil
			}
			if len(rows) == repackAtOnce {
				next = key
				return errEnough
			}
			packed, err := repacked(key, value)
			rows = append(rows, coordinator.Rollup{Key: key, Value: packed})
			return err
		})
		if err != nil && !errors.Is(err, errEnough) || len(rows) == 0 {
			return err
		}
		if err := s.PutRollups(ctx, coordinator.JobMark{}, rows...); err != nil {
			return err
		}
		from = next
	}
	return nil
}

// repacked is a sum as it is stored now.
func repacked(key string, value []byte) ([]byte, error) {
	switch {
	case strings.HasPrefix(key, monthsOf):
		var sum MonthSum
		err := sum.decode(key, value)
		return sum.pack(), err
	case strings.HasPrefix(key, homeDays), strings.HasPrefix(key, homeMonths):
		v, _, _, err := opened(key, value)
		sum := homeSums{V: v, Homes: map[coordinator.HomeID]*HomeSum{}}
		if err == nil {
			err = sum.addStored(key, value)
		}
		return sum.pack(), err
	}
	var sum Summary
	err := sum.decode(key, value)
	return sum.pack(), err
}
