package ui

import (
	"net/url"
	"strings"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/push/words"
)

// useQuery is what the manager wants to see of the use, as the address says it.
type useQuery struct {
	usage.Query
	// Coarser says that the division asked for would have been too fine to draw.
	Coarser bool
}

const (
	// usualDays is how many days are shown where none are asked for.
	usualDays = 28
	// mostByDay and mostByWeek are the longest times drawn by day and by week.
	mostByDay, mostByWeek = 200, 1400
)

// readUse reads the address. What is missing or makes no sense becomes the usual.
func readUse(q url.Values, today coordinator.Date) useQuery {
	out := useQuery{}
	out.Scope = readScope(q.Get("of"))
	if out.To.UnmarshalText([]byte(q.Get("to"))) != nil || today.Before(out.To) {
		out.To = today.Add(-1)
	}
	if out.From.UnmarshalText([]byte(q.Get("from"))) != nil || out.To.Before(out.From) || out.From.Add(usage.MaxDays).Before(out.To) {
		out.From = out.To.Add(1 - usualDays)
	}
	switch by := usage.Period(q.Get("by")); by {
	case usage.ByDay, usage.ByWeek, usage.ByMonth:
		out.By = by
	default:
		out.By = usage.ByDay
	}
	if out.By == usage.ByDay && out.From.Add(mostByDay).Before(out.To) {
		out.By, out.Coarser = usage.ByWeek, true
	}
	if out.By == usage.ByWeek && out.From.Add(mostByWeek).Before(out.To) {
		out.By, out.Coarser = usage.ByMonth, true
	}
	return out
}

// readScope reads "", "room" or "room/machine", each part escaped as in an address.
func readScope(text string) usage.Scope {
	room, machine, _ := strings.Cut(text, "/")
	r, err := url.PathUnescape(room)
	m, bad := url.PathUnescape(machine)
	if err != nil || bad != nil {
		return usage.Scope{}
	}
	return usage.Scope{Room: coordinator.RoomID(r), Machine: coordinator.MachineID(m)}
}

// scopeText is what readScope reads.
func scopeText(s usage.Scope) string {
	switch {
	case s.Room == "":
		return ""
	case s.Machine == "":
		return pathEscape(string(s.Room))
	}
	return pathEscape(string(s.Room)) + "/" + pathEscape(string(s.Machine))
}

// values are the query as an address.
func (q useQuery) values() string {
	v := url.Values{"from": {q.From.String()}, "to": {q.To.String()}, "by": {string(q.By)}}
	if of := scopeText(q.Scope); of != "" {
		v.Set("of", of)
	}
	return v.Encode()
}

// link is the page with this query.
func (q useQuery) link() string { return "/manager/use?" + q.values() }

// of is the same about another scope, over the same time.
func (q useQuery) of(s usage.Scope) useQuery {
	q.Scope = s
	return q
}

// last is the same about the newest days up to yesterday.
func (q useQuery) last(days int, by usage.Period, today coordinator.Date) useQuery {
	q.To, q.By = today.Add(-1), by
	q.From = q.To.Add(1 - days)
	return q
}

// houseRooms are the building's rooms and machines, as they are called in a language.
func (s *Server) houseRooms(l *words.Language) []usage.HouseRoom {
	var all []usage.HouseRoom
	for _, id := range s.o.House.Rooms() {
		snap := s.o.House.Snapshot(id)
		if snap == nil {
			continue
		}
		room := usage.HouseRoom{ID: id, Name: snap.Name, PerHome: snap.Rules.PerHomeFigures}
		for i := range snap.Machines {
			room.Machines = append(room.Machines, usage.HouseMachine{ID: snap.Machines[i].ID, Name: machineName(l, &snap.Machines[i])})
		}
		all = append(all, room)
	}
	return all
}
