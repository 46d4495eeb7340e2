package usage

import (
	"context"
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

// wantsHomes reports whether a day's sums by home are wanted: not where the house
// rules say otherwise, nor when the history by person is gone, so that what was
// summed up before stays.
func (r *Room) wantsHomes(date, today Date) bool {
	return r.PerHome && !date.Before(today.Add(-r.keepDays()))
}

// homeRows are a day's sums by home, and those of its month made anew from its
// days, all of which are still there.
func homeRows(ctx context.Context, r Rollups, room coordinator.RoomID, date Date, homes map[coordinator.HomeID]*HomeSum) ([]coordinator.Rollup, error) {
	day := homeSums{V: edition, Homes: homes}
	sum := homeSums{V: edition, Homes: map[coordinator.HomeID]*HomeSum{}}
	month := MonthOf(date)
	if err := eachHomes(ctx, r, homeDayKey(room, month.First()), homeDayKey(room, date), &sum); err != nil {
		return nil, err
	}
	sum.take(&day)
	if err := eachHomes(ctx, r, homeDayKey(room, date.Add(1)), homeDayKey(room, month.Next().First()), &sum); err != nil {
		return nil, err
	}
	return []coordinator.Rollup{{Key: homeDayKey(room, date), Value: day.pack()}, {Key: homeMonthKey(room, month), Value: sum.pack()}}, nil
}

func (h *homeSums) take(o *homeSums) {
	for id, sum := range o.Homes {
		if h.Homes[id] == nil {
			h.Homes[id] = &HomeSum{}
		}
		h.Homes[id].add(sum)
	}
}

// eachHomes adds the stored sums by home whose keys lie in a range.
func eachHomes(ctx context.Context, r Rollups, from, to string, into *homeSums) error {
	return eachSum(ctx, r, from, to, into.addStored)
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
