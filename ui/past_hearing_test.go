package ui

import (
	"context"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/usage/hindsight"
)

// counted is a past that counts how often its readings are asked for.
type counted struct {
	onePast
	asked int
}

func (p *counted) Readings(ctx context.Context, u coordinator.Unit, m coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
	p.asked++
	return p.onePast.Readings(ctx, u, m, from, to, fn)
}

// TestHearingIsKept for a while, for each machine on its own.
func TestHearingIsKept(t *testing.T) {
	past, h := &counted{}, hearings{}
	ask := func(machine coordinator.MachineID, minute int) {
		t.Helper()
		m := smallRoom().Machines[0]
		p := &pastScene{scene: &scene{now: in(minute)}, past: past, machine: &m, at: hindsight.Place{Room: "attic", Machine: machine}, zone: zone}
		got, err := h.get(t.Context(), p)
		if err != nil || got.at.After(in(minute)) || in(minute).Sub(got.at) >= keepHearing {
			t.Errorf("minute %d: of %v, %v", minute, got.at, err)
		}
	}
	for i, c := range []struct {
		machine      coordinator.MachineID
		minute, want int
	}{{"w1", 0, 1}, {"w1", 9, 1}, {"d1", 9, 2}, {"w1", 10, 3}, {"w1", 11, 3}, {"w1", 5, 4}} {
		if ask(c.machine, c.minute); past.asked != c.want {
			t.Errorf("look %d: readings were asked for %d times, want %d", i, past.asked, c.want)
		}
	}
}
