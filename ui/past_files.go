package ui

import (
	"context"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/hindsight"
)

// mostInFile is how many cycles a file of them has, the newest.
const mostInFile = 2000

func word(key string) usage.Column { return usage.Column{Key: key, Kind: usage.KindWord} }

func number(key, unit string, decimals int) usage.Column {
	return usage.Column{Key: key, Kind: usage.KindNumber, Unit: unit, Decimals: decimals}
}

// pastFile is one table of a machine's page: of the day, or of the cycles, that
// the address names.
func (s *Server) pastFile(c echo.Context) error {
	p, err := s.pastOf(c)
	if err != nil {
		return err
	}
	ctx, about := c.Request().Context(), string(p.at.Room)+"-"+string(p.at.Machine)
	name, _, _ := strings.Cut(param(c, "file"), ".")
	var t usage.Table
	switch name {
	case "day":
		d := p.dayAsked(c.QueryParam("day"))
		about += "-" + d.String()
		t, err = p.dayFile(ctx, d)
	case "cycles":
		t, err = p.cyclesFile(ctx, c.QueryParam("before"))
	case "programmes":
		t = p.programmesFile()
	case "meter":
		t, err = p.meterFile(ctx, &s.hearings)
	default:
		err = noTable
	}
	if err != nil {
		return err
	}
	return s.sendTable(c, []usage.Table{t}, about)
}

func (p *pastScene) dayFile(ctx context.Context, d coordinator.Date) (usage.Table, error) {
	from := d.Begin(p.zone)
	k, err := p.curve(ctx, from, d.End(p.zone), from, time.Hour)
	if err != nil {
		return usage.Table{}, err
	}
	return k.file(p, "day"), nil
}

// file is the table behind the curve: what was not heard has no figures.
func (k *curve) file(p *pastScene, name string) usage.Table {
	t := usage.Table{Name: name, Columns: []usage.Column{
		word("from"), word("to"), number("mean", "W", 1), number("highest", "W", 1), number("energy", "kWh", 4), number("energy_so_far", "kWh", 4), number("heard", "%", 1),
	}}
	for i := range k.slots {
		s := &k.slots[i]
		if s.from.After(p.now) {
			break
		}
		row := []usage.Cell{usage.Instant(s.from, p.zone), usage.Instant(s.to, p.zone), {}, {}, {}, {}, usage.Fixed(100*s.share(p.now), 1)}
		if s.heard > 0 {
			row[2], row[3] = usage.Fixed(s.wh/s.heard.Hours(), 1), usage.Fixed(s.most, 1)
			row[4], row[5] = usage.Fixed(s.wh/1000, 4), usage.Fixed(s.sum/1000, 4)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// cyclesFile has more cycles than the page lists.
func (p *pastScene) cyclesFile(ctx context.Context, before string) (usage.Table, error) {
	t := usage.Table{Name: "cycles", Columns: []usage.Column{
		number("cycle", "", 0), word("start"), word("end"), word("told"), number("length", "min", 1), number("energy", "kWh", 3), word("ended"),
		number("programme", "", 0), number("peak", "W", 0),
	}}
	at, _ := p.toldBefore(before)
	all, err := hindsight.Cycles(ctx, p.past, p.at, at, mostInFile)
	for i := range all {
		c := &all[i]
		t.Rows = append(t.Rows, []usage.Cell{
			usage.Word(strconv.FormatUint(c.Cycle, 10)), usage.Instant(c.Start, p.zone), usage.Instant(c.End, p.zone), usage.Instant(c.At, p.zone),
			usage.Fixed(c.End.Sub(c.Start).Minutes(), 1), usage.Fixed(c.EnergyWh/1000, 3), usage.Word(c.Note), usage.Word(p.programme(c)), usage.Fixed(c.PeakW, 0),
		})
	}
	return t, err
}

func (p *pastScene) programmesFile() usage.Table {
	t := usage.Table{Name: "programmes", Columns: []usage.Column{
		number("programme", "", 0), number("length_median", "min", 1), number("energy_median", "kWh", 3), number("runs", "", 0),
	}}
	if k := p.machine.Learned; k != nil {
		for _, g := range k.Programmes {
			t.Rows = append(t.Rows, []usage.Cell{usage.Count(g.Number), usage.Fixed(g.Length.Minutes(), 1), usage.Fixed(g.Wh/1000, 3), usage.Count(g.Runs)})
		}
	}
	return t
}

// meterFile is how the meter was heard: a row for each time.
func (p *pastScene) meterFile(ctx context.Context, kept *hearings) (usage.Table, error) {
	t := usage.Table{Name: "meter", Columns: []usage.Column{
		word("from"), word("to"), number("readings", "", 0), number("distance_median", "s", 1), number("distance_p95", "s", 1),
		number("silent_spells", "", 0), number("silent", "min", 1), number("silent_longest", "min", 1), number("register_falls", "", 0),
	}}
	if p.machine.Meter == "" {
		return t, nil
	}
	heard, err := kept.get(ctx, p)
	if err != nil {
		return t, err
	}
	for _, h := range []hindsight.Hearing{heard.day, heard.week} {
		row := []usage.Cell{
			usage.Instant(h.From, p.zone), usage.Instant(h.To, p.zone), usage.Count(h.Readings), seconds(h.Usual), seconds(h.Long),
			usage.Count(h.Gaps), usage.Fixed(h.Unheard.Minutes(), 1), usage.Fixed(h.Longest.Minutes(), 1), {},
		}
		if h.HasRegister {
			row[8] = usage.Count(h.Resets)
		}
		t.Rows = append(t.Rows, row)
	}
	return t, nil
}

// seconds is a distance between readings; none where there were too few.
func seconds(d time.Duration) usage.Cell {
	if d == 0 {
		return usage.Cell{}
	}
	return usage.Fixed(d.Seconds(), 1)
}
