package ui

import (
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/push/words"
)

// dates words instants on the building's own pages, which belong to no room: in
// the time of its first room.
type dates struct {
	lang *words.Language
	zone *time.Location
	now  time.Time
}

func (s *Server) dates(c echo.Context) dates {
	d := dates{lang: s.lang(c), zone: time.UTC, now: s.o.House.Now()}
	for _, id := range s.o.House.Rooms() {
		if snap := s.o.House.Snapshot(id); snap != nil && snap.Zone != nil {
			d.zone = snap.Zone
			break
		}
	}
	return d
}

// day is a date with its year, as the language writes it; empty for no instant.
func (d dates) day(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return datedDay(d.lang, at.In(d.zone))
}

// plain is a date as fields of forms have it.
func (d dates) plain(at time.Time) string { return at.In(d.zone).Format(time.DateOnly) }

// at is a date and a time; empty for no instant.
func (d dates) at(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return d.lang.Say("dates.at", "day", d.day(at), "time", at.In(d.zone).Format("15:04"))
}

// deviceWords is a family of browsers in words.
func deviceWords(l *words.Language, device string) string {
	browser, system := l.Say("keys.some-browser"), l.Say("keys.some-system")
	for i, part := range strings.SplitN(device, " ", 2) {
		name, known := agentNames[part]
		switch {
		case !known:
		case i == 0:
			browser = name
		default:
			system = name
		}
	}
	return l.Say("keys.device", "browser", browser, "system", system)
}
