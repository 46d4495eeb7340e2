package api

import (
	"context"
	"net/http"
	"time"

	"drumturn/coordinator"
)

// UseQuery says which figures are wanted.
type UseQuery struct {
	// Room and Machine narrow it down; empty: all.
	Room    coordinator.RoomID
	Machine coordinator.MachineID
	// From and To are local dates, both included, such as "2026-11-30".
	From, To string
	// By divides the time: "day", "week", "month" or "all".
	By string
}

// Use is a report.
type Use struct {
	From string `json:"from"`
	To   string `json:"to"`
	By   string `json:"by"`
	// Currency is that of each cost (ISO 4217); empty where there is no tariff.
	Currency string   `json:"currency"`
	Whole    UseRow   `json:"whole"`
	Periods  []UseRow `json:"periods"`
	Rooms    []UseRow `json:"rooms"`
	Machines []UseRow `json:"machines"`
}

// UseRow is the figures of a period, a room or a machine.
type UseRow struct {
	From    string                `json:"from"`
	To      string                `json:"to"`
	Room    coordinator.RoomID    `json:"room,omitempty"`
	Machine coordinator.MachineID `json:"machine,omitempty"`
	// Days is how many local days have figures.
	Days         int `json:"days"`
	Cycles       int `json:"cycles"`
	StoppedEarly int `json:"stopped_early"`
	MissedCalls  int `json:"missed_calls"`
	// Times are seconds: running, and kept by loads that nobody collected.
	RunningS float64 `json:"running_s"`
	BlockedS float64 `json:"blocked_s"`
	// OutOfServiceS is how long machines were out of service in opening hours, added
	// up, seconds. It is no part of the hours that Utilisation is of.
	OutOfServiceS float64 `json:"out_of_service_s"`
	// Utilisation is the share of the opening hours in which machines ran, 0 to 1.
	Utilisation float64 `json:"utilisation"`
	EnergyKWh   float64 `json:"energy_kwh"`
	// StandbyKWh is the part of it that was drawn outside of cycles.
	StandbyKWh float64 `json:"standby_kwh"`
	// Cost is what the energy cost, a decimal number; left out without a tariff.
	Cost string `json:"cost,omitempty"`
}

// use reads the query and makes the report.
func (s *Server) use(r *http.Request) (*Use, error) {
	if s.o.Use == nil {
		return nil, notFound("use.none", "This building keeps no figures.")
	}
	v := r.URL.Query()
	q := UseQuery{
		Room: coordinator.RoomID(v.Get("room")), Machine: coordinator.MachineID(v.Get("machine")),
		From: v.Get("from"), To: v.Get("to"), By: v.Get("by"),
	}
	if q.By == "" {
		q.By = "all"
	}
	ctx, cancel := context.WithTimeout(r.Context(), 30*time.Second)
	defer cancel()
	return s.o.Use(ctx, q)
}
