package usage

import (
	"context"
	"time"

	"drumturn/coordinator"
)

// forgetToCome takes back what was done for days that are not over: it was done
// by a clock that was ahead, and these days would be passed over once they come.
func (k *Keeper) forgetToCome(ctx context.Context, rooms []Room, now time.Time) error {
	today := DateOf(now, k.o.Zone)
	jobs := []string{"backup"}
	for _, r := range withBuilding(rooms) {
		jobs = append(jobs, "refresh/"+string(r.ID), "wear/"+string(r.ID), "retain/"+string(r.ID))
	}
	for _, job := range jobs {
		if _, err := k.store.ForgetJobs(ctx, job, today.String()); err != nil {
			return err
		}
	}
	for _, job := range []string{"report", "report-sent"} {
		if _, err := k.store.ForgetJobs(ctx, job, MonthOf(today).String()); err != nil {
			return err
		}
	}
	for i := range rooms {
		found, err := k.store.ForgetJobs(ctx, "rollup/"+string(rooms[i].ID), today.String())
		if err == nil && found {
			err = dropFrom(ctx, k.store, &rooms[i], today, k.o.Zone, now)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// dropFrom deletes a room's sums of a day and those after it, and makes those of
// the month before them anew.
func dropFrom(ctx context.Context, s Store, room *Room, from Date, zone *time.Location, now time.Time) error {
	machines, err := machinesWithSums(ctx, s, room.ID)
	if err != nil {
		return err
	}
	ranges := [][2]string{{homeDayKey(room.ID, from), homeDays + string(room.ID) + "0"}, {homeMonthKey(room.ID, MonthOf(from)), homeMonths + string(room.ID) + "0"}}
	for _, m := range append([]coordinator.MachineID{""}, machines...) {
		days := place(room.ID, m)
		end := days[:len(days)-1] + "0" // "0" comes after "/"
		ranges = append(ranges, [2]string{rollupKey(room.ID, m, from), end}, [2]string{monthKey(room.ID, m, MonthOf(from)), monthsOf + end})
	}
	var rows []coordinator.Rollup
	for _, r := range ranges {
		err := eachSum(ctx, s, r[0], r[1], func(key string, _ []byte) error {
			rows = append(rows, coordinator.Rollup{Key: key})
			return nil
		})
		if err != nil {
			return err
		}
	}
	if err := s.PutRollups(ctx, coordinator.JobMark{}, rows...); err != nil || from == MonthOf(from).First() {
		return err
	}
	return sumUpAgain(ctx, s, room, &factReader{s: s, room: room.ID}, from.Add(-1), zone, now)
}
