package usage

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"time"

	"drumturn/coordinator"
)

// What is stored of monthly reports:
//
//	~reports/2026-11          that there is one, and when it was made
//	~report-of/2026-11/ROOM   the report of a room; of the building where ROOM is empty
const (
	reportsMade = "~reports/"
	reportsOf   = "~report-of/"
)

// MonthlySchedule is 05:30 on the first of the month: after the night's sums of
// its last day.
const MonthlySchedule = "30 5 1 * *"

// MonthlyOptions say how monthly reports are made; without a House none are.
type MonthlyOptions struct {
	// Schedule is when the report of the month before is due; MonthlySchedule when empty.
	Schedule string
	// House is the building as it is now.
	House func() *House
	// Send sends a report to those who look after the building. It reports false
	// when there is no way to send it, which is no error and is tried again. It is
	// called again for a month until it has said true: when the program is killed
	// after that and before it is remembered, once more. nil: nothing is sent.
	Send func(ctx context.Context, month Month, r *Report) (bool, error)
}

// madeReport is the entry of a month in the list of reports.
type madeReport struct {
	V    int
	Made time.Time
}

// monthlyAtMost is how many months are made up for.
const monthlyAtMost = 24

// months makes the reports of the months that are due and have none, oldest first,
// then sends that of the newest unless it was sent. Older ones are only stored:
// nobody wants a year's letters at once.
func (k *Keeper) months(ctx context.Context, now time.Time) error {
	if k.o.Monthly.House == nil {
		return nil
	}
	newest, ok := k.lastMonth(now)
	if !ok {
		return nil
	}
	h := k.o.Monthly.House()
	ready, err := k.nightsDone(ctx, h, newest, now)
	if err != nil || !ready {
		return err
	}
	first, err := firstMonth(ctx, k.store, h)
	if err != nil {
		return err
	}
	var missing []Month
	for m := newest; !m.Before(first) && len(missing) < monthlyAtMost; m = m.before() {
		done, err := k.store.JobDone(ctx, "report", m.String())
		if err != nil {
			return err
		}
		if done {
			break
		}
		missing = append(missing, m)
	}
	for i := len(missing) - 1; i >= 0; i-- {
		if err := k.makeMonth(ctx, h, missing[i], now); err != nil {
			return err
		}
	}
	return k.sendMonth(ctx, newest, now)
}

// lastMonth is the last month whose report is due.
func (k *Keeper) lastMonth(now time.Time) (Month, bool) {
	m := MonthOf(DateOf(now, k.o.Zone))
	for range monthlyAtMost {
		m = m.before()
		if t := k.monthly.Next(m.Last().End(k.o.Zone).Add(-time.Second).In(k.o.Zone)); !t.IsZero() && !t.After(now) {
			return m, true
		}
	}
	return Month{}, false
}

func (m Month) before() Month { return MonthOf(m.First().Add(-1)) }

// nightsDone reports whether the night's work is done up to a month's last day.
// Nights are worked off in order, so that the last one stands for all.
func (k *Keeper) nightsDone(ctx context.Context, h *House, m Month, now time.Time) (bool, error) {
	last, ok := k.lastDue(now)
	if !ok || last.Before(m.Last()) {
		return false, nil
	}
	for _, r := range h.Rooms {
		done, err := k.store.JobDone(ctx, "rollup/"+string(r.ID), last.String())
		if err != nil || !done {
			return false, err
		}
	}
	return true, nil
}

// firstMonth is the first month in which a room has sums; a far one when none has.
func firstMonth(ctx context.Context, r Rollups, h *House) (Month, error) {
	first := Month{9999, 12}
	for _, room := range h.Rooms {
		prefix := monthsOf + place(room.ID, "")
		var bad error
		err := r.Rollups(ctx, prefix, prefix[:len(prefix)-1]+"0", func(key string, _ []byte) bool {
			m, err := ParseMonth(key[len(prefix):])
			if bad = err; err == nil && m.Before(first) {
				first = m
			}
			return false
		})
		if err := errors.Join(err, bad); err != nil {
			return first, err
		}
	}
	return first, nil
}

// makeMonth makes and stores a month's reports and marks the month, all at once.
// A month without sums gets no report, and is done.
func (k *Keeper) makeMonth(ctx context.Context, h *House, m Month, now time.Time) error {
	scopes := []Scope{{}}
	for _, r := range h.Rooms {
		scopes = append(scopes, Scope{Room: r.ID})
	}
	mark := coordinator.JobMark{Job: "report", Date: m.String(), At: now}
	var rows []coordinator.Rollup
	for _, scope := range scopes {
		r, err := MakeReport(ctx, k.store, h, Query{Scope: scope, From: m.First(), To: m.Last(), By: ByDay})
		if err != nil {
			return fmt.Errorf("report of %s: %w", m, err)
		}
		if scope == (Scope{}) && r.Whole.Days == 0 {
			return k.store.PutRollups(ctx, mark)
		}
		r.withoutHomes()
		value, err := json.Marshal(storedReport{V: edition, Report: r})
		if err != nil {
			return fmt.Errorf("the report of %s does not encode: %w", m, err)
		}
		rows = append(rows, coordinator.Rollup{Key: reportKey(m, scope.Room), Value: value})
	}
	entry, err := json.Marshal(madeReport{edition, now})
	if err != nil {
		return err
	}
	return k.store.PutRollups(ctx, mark, append(rows, coordinator.Rollup{Key: reportsMade + m.String(), Value: entry})...)
}

// sendMonth sends a month's report unless it was sent or is too old.
func (k *Keeper) sendMonth(ctx context.Context, m Month, now time.Time) error {
	if k.o.Monthly.Send == nil {
		return nil
	}
	done, err := k.store.JobDone(ctx, "report-sent", m.String())
	if err != nil || done {
		return err
	}
	r, err := StoredReport(ctx, k.store, m, "")
	if errors.Is(err, fs.ErrNotExist) {
		return nil // nothing happened in that month
	}
	if err != nil {
		return err
	}
	sent, err := k.o.Monthly.Send(ctx, m, r)
	if err != nil || !sent {
		return err
	}
	return k.store.MarkJob(ctx, "report-sent", m.String(), now)
}

// storedReport is a report as it is kept.
type storedReport struct {
	V int
	*Report
}

func reportKey(m Month, room coordinator.RoomID) string {
	return reportsOf + m.String() + "/" + string(room)
}

// StoredReport is the report of a month as it was made, of a room, or with room
// empty of the building. It is fs.ErrNotExist when there is none.
func StoredReport(ctx context.Context, r Rollups, m Month, room coordinator.RoomID) (*Report, error) {
	key := reportKey(m, room)
	var out *Report
	err := eachSum(ctx, r, key, key+"\x01", func(at string, value []byte) error {
		s := storedReport{Report: &Report{}}
		switch err := json.Unmarshal(value, &s); {
		case at != key:
			return nil
		case err != nil:
			return damaged(key, err)
		case s.V > edition:
			return newer(key, s.V)
		}
		out = s.Report
		return nil
	})
	if err == nil && out == nil {
		err = fmt.Errorf("the report of %s: %w", m, fs.ErrNotExist)
	}
	return out, err
}

// MonthsReported lists the months that have a report, newest first, with when it
// was made.
func MonthsReported(ctx context.Context, r Rollups) (all []ReportedMonth, err error) {
	err = eachSum(ctx, r, reportsMade, reportsMade[:len(reportsMade)-1]+"0", func(key string, value []byte) error {
		var made madeReport
		m, err := ParseMonth(key[len(reportsMade):])
		if err := errors.Join(err, json.Unmarshal(value, &made)); err != nil {
			return damaged(key, err)
		}
		all = append([]ReportedMonth{{m, made.Made}}, all...)
		return nil
	})
	return all, err
}

// ReportedMonth is a month that has a report.
type ReportedMonth struct {
	Month Month
	Made  time.Time
}

// withoutHomes leaves out what is about homes: a report is kept for ever and goes
// out by e-mail, while sums by home end with the house rule that wants them.
func (r *Report) withoutHomes() {
	r.Homes = nil
	r.Notes = slices.DeleteFunc(r.Notes, func(n Note) bool { return n == NoteHomes })
}

// Rename puts the names that rooms and machines have now, in some language, into
// a report; those that are no longer there keep theirs.
func (r *Report) Rename(rooms []HouseRoom) {
	names := map[Scope]string{}
	for i := range rooms {
		names[Scope{Room: rooms[i].ID}] = rooms[i].Name
		for _, m := range rooms[i].Machines {
			names[Scope{rooms[i].ID, m.ID}] = m.Name
		}
	}
	for _, rows := range [][]Row{r.Rooms, r.Machines} {
		for i := range rows {
			if name, ok := names[Scope{rows[i].Room, rows[i].Machine}]; ok {
				rows[i].Name = name
			}
		}
	}
}
