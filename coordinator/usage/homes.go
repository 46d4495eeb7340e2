package usage

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"drumturn/coordinator"
)

// What is stored for each home, in rooms whose house rules want it:
//
//	~home/ROOM/2026-11-25        a day; goes when it is kept no longer by person
//	~home-month/ROOM/2026-11     a month, made of its days; stays while the rule is on
const (
	homeDays   = "~home/"
	homeMonths = "~home-month/"
)

// homeSums are those of all homes over some time; those of nobody are under "".
type homeSums struct {
	V     int
	Homes map[coordinator.HomeID]*HomeSum
}

func homeDayKey(room coordinator.RoomID, d Date) string {
	return homeDays + string(room) + "/" + d.String()
}
func homeMonthKey(room coordinator.RoomID, m Month) string {
	return homeMonths + string(room) + "/" + m.String()
}

// homeRow is a day's sums by home; ok is false where they are not wanted, or when
// the history by person is gone, so that what was summed up before stays.
func (r *Room) homeRow(date, today Date, homes map[coordinator.HomeID]*HomeSum) (row coordinator.Rollup, ok bool, err error) {
	if !r.PerHome || date.Before(today.Add(-r.keepDays())) {
		return row, false, nil
	}
	value, err := json.Marshal(homeSums{V: edition, Homes: homes})
	if err != nil {
		return row, false, fmt.Errorf("the sums by home of %s on %s do not encode: %w", r.ID, date, err)
	}
	return coordinator.Rollup{Key: homeDayKey(r.ID, date), Value: value}, true, nil
}

// homeMonthRow makes a month's sums by home anew from its days, all of which are
// still there.
func homeMonthRow(ctx context.Context, r Rollups, room coordinator.RoomID, month Month) (coordinator.Rollup, error) {
	sum := homeSums{V: edition, Homes: map[coordinator.HomeID]*HomeSum{}}
	err := eachHomes(ctx, r, homeDayKey(room, month.First()), homeDayKey(room, month.Next().First()), sum.take)
	if err != nil {
		return coordinator.Rollup{}, err
	}
	value, err := json.Marshal(sum)
	if err != nil {
		return coordinator.Rollup{}, fmt.Errorf("the sums by home of %s in %s do not encode: %w", room, month, err)
	}
	return coordinator.Rollup{Key: homeMonthKey(room, month), Value: value}, nil
}

func (h *homeSums) take(o *homeSums) {
	for id, sum := range o.Homes {
		if h.Homes[id] == nil {
			h.Homes[id] = &HomeSum{}
		}
		h.Homes[id].add(sum)
	}
}

func eachHomes(ctx context.Context, r Rollups, from, to string, fn func(*homeSums)) error {
	return eachSum(ctx, r, from, to, func(key string, value []byte) error {
		var h homeSums
		if err := json.Unmarshal(value, &h); err != nil {
			return damaged(key, err)
		}
		fn(&h)
		return nil
	})
}

// forgetHomes deletes sums by home: all of them where the house rules no longer
// want any, and else those of days whose month has been over for so long that
// nothing makes it anew.
func forgetHomes(ctx context.Context, s Store, room *Room, now time.Time, zone *time.Location) error {
	var rows []coordinator.Rollup
	drop := func(key string, _ []byte) error {
		rows = append(rows, coordinator.Rollup{Key: key})
		return nil
	}
	days, end := homeDays+string(room.ID), homeDayKey(room.ID, oldestRevised(room, now, zone))
	if !room.PerHome {
		end = days + "0"
		if err := eachSum(ctx, s, homeMonths+string(room.ID)+"/", homeMonths+string(room.ID)+"0", drop); err != nil {
			return err
		}
	}
	if err := eachSum(ctx, s, days+"/", end, drop); err != nil || len(rows) == 0 {
		return err
	}
	return s.PutRollups(ctx, coordinator.JobMark{}, rows...)
}

// oldestRevised is the first day of the oldest month that may still be made anew.
func oldestRevised(room *Room, now time.Time, zone *time.Location) Date {
	return MonthOf(DateOf(now, zone).Add(-max(room.keepDays(), reviseDays) - 1)).First()
}
