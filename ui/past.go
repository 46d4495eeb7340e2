package ui

import (
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/usage/hindsight"
)

// Past is what is kept of machines, for the manager's pages about them. It is
// read off the rooms' loops.
type Past interface {
	hindsight.Facts
	hindsight.Readings
	// Engine makes an engine that knows nothing yet, to tell a cycle again.
	Engine(cycle.Settings) cycle.Engine
	// Meter is how a meter does now; ok is false for one that is not wired.
	Meter(name string) (m hindsight.Meter, ok bool)
}

// noPast is a building that keeps nothing.
var noPast = coordinator.Refuse(coordinator.NotFound, "no-past", "Nothing is kept of machines here.")

// pastScene is a machine with its past, for the manager only.
type pastScene struct {
	*scene
	past    Past
	machine *coordinator.MachineView
	at      hindsight.Place
	zone    *time.Location
}

// pastOf finds the machine that the address names.
func (s *Server) pastOf(c echo.Context) (*pastScene, error) {
	_, sc, err := s.managerScene(c)
	if err != nil {
		return nil, err
	}
	if s.o.Past == nil {
		return nil, noPast
	}
	m, err := machineOf(sc, param(c, "machine"))
	if err != nil {
		return nil, err
	}
	return &pastScene{sc, s.o.Past, m, hindsight.Place{Room: sc.snap.Room, Machine: m.ID}, sc.tell().zone}, nil
}

// link is the page about the machine.
func (p *pastScene) link() string { return "/manager" + machinePath(p.snap.Room, p.machine.ID) }

// silent is from when on nothing is known of the machine.
func (p *pastScene) silent() time.Duration {
	if d := p.machine.Power.SilentAfter; d > 0 {
		return d
	}
	return cycle.DefaultSettings().SilentAfter
}
