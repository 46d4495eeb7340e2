package ui

import (
	"context"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// buildingPage lists the rooms; with one room it goes straight there.
func (s *Server) buildingPage(c echo.Context) error {
	rooms := s.o.House.Rooms()
	if len(rooms) == 1 {
		return s.redirect(c, roomPath(rooms[0]))
	}
	return s.render(c, http.StatusOK, "building", s.roomList(s.lang(c)))
}

// roomSummary is a room in the list: what can be done there now.
type roomSummary struct {
	Name, Link string
	Free       []string
}

func (s *Server) roomList(l *words.Language) []roomSummary {
	var list []roomSummary
	for _, id := range s.o.House.Rooms() {
		if snap := s.o.House.Snapshot(id); snap != nil {
			free := freeWords(l, snap)
			if !mayStart(snap, s.o.House.Now()) {
				free = []string{l.Say("board.shut")}
			}
			list = append(list, roomSummary{Name: snap.Name, Link: roomPath(id), Free: free})
		}
	}
	return list
}

// freeWords is "2 of 3 washers free", by kind.
func freeWords(l *words.Language, snap *coordinator.Snapshot) []string {
	var out []string
	for _, kind := range []queue.Kind{queue.Washer, queue.Dryer, queue.WasherDryer} {
		all, free := 0, 0
		for i := range snap.Machines {
			if snap.Machines[i].Kind != kind {
				continue
			}
			all++
			if snap.Machines[i].Status == coordinator.Free {
				free++
			}
		}
		if all > 0 {
			out = append(out, l.Count("building.free-"+kind.String(), all, "free", free))
		}
	}
	return out
}

func roomPath(room coordinator.RoomID) string { return "/r/" + pathEscape(string(room)) }

// redirect sends the browser to a page after a form, or from a page that is
// another: path is always one of ours.
func (s *Server) redirect(c echo.Context, path string) error {
	return c.Redirect(http.StatusSeeOther, s.base+path)
}

// healthz answers watchers of the program.
func (s *Server) healthz(c echo.Context) error {
	if s.o.Healthy != nil {
		ctx, cancel := context.WithTimeout(c.Request().Context(), 5*time.Second)
		defer cancel()
		if err := s.o.Healthy(ctx); err != nil {
			s.o.Log.Error("not healthy", "err", err)
			return c.String(http.StatusServiceUnavailable, "not well: see the log\n")
		}
	}
	return c.String(http.StatusOK, "well\n")
}

// readyz says whether the program can do its work, part by part.
func (s *Server) readyz(c echo.Context) error {
	status, parts, ok := http.StatusOK, map[string]string(nil), true
	if s.o.Ready != nil {
		ctx, cancel := context.WithTimeout(c.Request().Context(), 5*time.Second)
		defer cancel()
		parts, ok = s.o.Ready(ctx)
	}
	if !ok {
		status = http.StatusServiceUnavailable
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return c.JSON(status, map[string]any{"ready": ok, "parts": parts})
}

// metrics passes on to what says how the program does.
func (s *Server) metrics(c echo.Context) error {
	if s.o.Metrics == nil {
		return echo.ErrNotFound
	}
	s.o.Metrics.ServeHTTP(c.Response(), c.Request())
	return nil
}
