package ui

import (
	"fmt"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// headView is what stands above the rows.
type headView struct {
	Supply string // since when the supply is interrupted
	Shut   bool   // no machine may be started now
	Hours  string // what the house rules allow today, where that is why
	Ticks  []tick
}

func boardHead(sc *scene) headView {
	h := headView{Ticks: sc.axis.Ticks, Shut: !mayStart(sc.snap, sc.now)}
	if h.Shut {
		h.Hours = sc.tell().hoursToday(sc.snap.Rules.Hours)
	}
	if !sc.snap.SupplySince.IsZero() {
		h.Supply = sc.tell().at(sc.snap.SupplySince)
	}
	return h
}

// mayStart reports whether the house rules let anybody start a machine now.
func mayStart(snap *coordinator.Snapshot, now time.Time) bool {
	return snap.Rules.Hours.MayStart(now, 0, zoneOf(snap))
}

// hoursToday says what the house rules allow on the day of now; empty when all.
func (t teller) hoursToday(hours queue.Hours) string {
	day := hours[t.now.In(t.zone).Weekday()]
	if day.Closed {
		return t.lang.Say("board.closed")
	}
	var parts []string
	if day.Opens != queue.NoClock && day.Opens > 0 {
		parts = append(parts, t.lang.Say("board.opens", "at", clockOf(day.Opens)))
	}
	if day.LastStart != queue.NoClock {
		parts = append(parts, t.lang.Say("board.last-start", "at", clockOf(day.LastStart)))
	}
	if day.EndedBy != queue.NoClock {
		parts = append(parts, t.lang.Say("board.ended-by", "at", clockOf(day.EndedBy)))
	}
	if len(parts) == 0 {
		return ""
	}
	return capital(t.comma(parts...)) + "."
}

func clockOf(c queue.Clock) string { return fmt.Sprintf("%02d:%02d", int(c)/60, int(c)%60) }

// footView is what stands below the rows: the queue in a few words.
type footView struct {
	Waiting string
	Table   string // what lies on the table; empty for nothing
	Hours   string // what the house rules allow today
	IfJoin  []joinForecast
	AsOf    string
	Old     string // when the forecasts were worked out, if that is a while ago
}

// joinForecast is what a newcomer could expect.
type joinForecast struct{ Need, When string }

func boardFoot(sc *scene) footView {
	t := sc.tell()
	f := footView{Waiting: t.waiting(sc.snap), Table: tableWords(sc)}
	if mayStart(sc.snap, sc.now) { // otherwise the head says it
		f.Hours = t.hoursToday(sc.snap.Rules.Hours)
	}
	f.AsOf, f.Old = t.at(sc.now), sc.oldForecast()
	for _, n := range needs(sc.snap) {
		if fc, ok := sc.snap.IfYouJoin[n]; ok && fc.Known {
			f.IfJoin = append(f.IfJoin, joinForecast{needWord(t.lang, n), t.forecast(&fc)})
		}
	}
	return f
}

// staleForecast is from which age on forecasts say how old they are.
const staleForecast = 2 * time.Minute

// oldForecast is when the forecasts were worked out; empty while they are fresh.
func (sc *scene) oldForecast() string {
	if at := sc.snap.ForecastAt; !at.IsZero() && sc.now.Sub(at) >= staleForecast {
		return sc.tell().at(at)
	}
	return ""
}

// waiting is "Nobody waits", or "3 turns wait: 2 for a washer, 1 for a dryer".
func (t teller) waiting(snap *coordinator.Snapshot) string {
	count := map[queue.Need]int{}
	all := 0
	for i := range snap.Turns {
		if snap.Turns[i].State == queue.Waiting {
			count[snap.Turns[i].Need]++
			all++
		}
	}
	if all == 0 {
		return t.lang.Say("board.nobody-waits")
	}
	var parts []string
	for _, n := range []queue.Need{queue.Wash, queue.Dry, queue.WashAndDry} {
		if count[n] > 0 {
			parts = append(parts, t.lang.Say("board.wait-for", "n", count[n], "need", needWord(t.lang, n)))
		}
	}
	return t.lang.Count("board.wait", all, "list", t.comma(parts...))
}

// machinePath is a machine's page, below the base.
func machinePath(room coordinator.RoomID, m coordinator.MachineID) string {
	return "/r/" + pathEscape(string(room)) + "/m/" + pathEscape(string(m))
}

// wallView is the live part of the wall page.
type wallView struct {
	Name, Clock, Day string
	Called           []calledView
	Silent           []string // machines whose meter says nothing
	Shut             bool     // nobody may start, and nothing goes on
	Board            htmlText
}

// calledView is one call on the wall: a word, never a name.
type calledView struct {
	Word, Machine, Until string
	OnWay                bool
}

func wallLive(sc *scene) wallView {
	local := sc.now.In(sc.axis.tell.zone)
	w := wallView{Name: sc.snap.Name, Clock: local.Format("15:04"), Day: sc.lang().Day(local), Board: htmlText(sc.public)}
	for i := range sc.snap.Turns {
		t := &sc.snap.Turns[i]
		if t.State != queue.Called {
			continue
		}
		c := calledView{Word: callWord(t.ID), OnWay: !t.OnWay.IsZero(), Until: sc.tell().at(t.HoldUntil)}
		if m := sc.snap.Machine(t.Machine); m != nil {
			c.Machine = machineName(sc.lang(), m)
		}
		w.Called = append(w.Called, c)
	}
	for i := range sc.snap.Machines {
		if m := &sc.snap.Machines[i]; m.Status == coordinator.Unknown {
			w.Silent = append(w.Silent, sc.lang().Say("wall.silent", "machine", machineName(sc.lang(), m)))
		}
	}
	w.Shut = shut(sc.snap, sc.now)
	return w
}

// shut reports whether a room is outside its opening hours with nothing going on in it.
func shut(snap *coordinator.Snapshot, now time.Time) bool {
	if mayStart(snap, now) {
		return false
	}
	for i := range snap.Machines {
		switch snap.Machines[i].Status {
		case coordinator.Running, coordinator.Held, coordinator.Finished, coordinator.Overdue:
			return false
		}
	}
	return true
}
