package ui

import (
	"context"
	"math"
	"strconv"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/usage/hindsight"
	"drumturn/push/words"
)

// The notes of facts about cycles, as coordinator writes them.
var (
	endFinished = cycle.Finished.String()
	endStopped  = cycle.StoppedEarly.String()
	endPresumed = cycle.Presumed.String()
)

// endWord says how a cycle ended.
func endWord(l *words.Language, c *coordinator.Fact) string {
	switch c.Note {
	case endFinished:
		return l.Say("past.ended-done")
	case endStopped:
		return l.Say("past.ended-early")
	case endPresumed:
		return l.Say("past.ended-presumed")
	}
	return c.Note
}

// programme is the number of the learned programme that a cycle was like, as far
// as its length and energy tell; empty when none, or when it was cut short.
func (p *pastScene) programme(c *coordinator.Fact) string {
	k := p.machine.Learned
	if k == nil || c.Note != endFinished {
		return ""
	}
	length, best, near := c.End.Sub(c.Start), 0, math.Inf(1)
	for _, g := range k.Programmes {
		if apart := g.Off(length, c.EnergyWh); apart <= 1 && apart < near {
			best, near = g.Number, apart
		}
	}
	if best == 0 {
		return ""
	}
	return strconv.Itoa(best)
}

// learned says what was learned of the machine's power and programmes.
func (p *pastScene) learned(v *pastView) {
	k := p.machine.Learned
	if k == nil {
		return
	}
	bare := *k
	bare.Programmes = nil
	v.Learned = learnedLines(&bare, p.scene)
	if len(k.Programmes) == 0 {
		return
	}
	l := p.lang()
	v.Programmes = figuresTable{Caption: l.Say("past.programmes"), Files: tableFiles(p.link(), "programmes", ""), Head: []cellView{
		headCell(l.Say("past.programme")), numCell(l.Say("past.median-length")), numCell(l.Say("past.median-kwh")), numCell(l.Say("past.runs")),
	}}
	for _, g := range k.Programmes {
		v.Programmes.Rows = append(v.Programmes.Rows, []cellView{
			headCell(strconv.Itoa(g.Number)), numCell(l.Span(g.Length)), numCell(kwhOf(l, g.Wh/1000)), numCell(strconv.Itoa(g.Runs)),
		})
	}
}

// meter says how the machine's meter does: now, and in the last day and week.
func (p *pastScene) meter(ctx context.Context, v *pastView, kept *hearings) error {
	l := p.lang()
	say := func(key, text string) {
		if text != "" {
			v.Meter = append(v.Meter, factView{l.Say("past." + key), text})
		}
	}
	if p.machine.Meter == "" {
		say("meter", l.Say("past.no-meter"))
		return nil
	}
	say("meter", p.machine.Meter)
	if m, ok := p.past.Meter(p.machine.Meter); ok {
		if !m.Heard.IsZero() {
			say("last", p.lastReading(&m))
		}
		if m.Trouble != "" {
			say("trouble", l.Say("setup.meter."+m.TroubleKind)+" "+l.Say("setup.meter.detail", "detail", m.Trouble))
		}
		say("counts", l.Say("past.counted", "taken", l.Number(float64(m.Taken), 0), "failed", l.Number(float64(m.Failures), 0), "refused", l.Number(float64(m.Refused), 0)))
		if m.HasSkew {
			say("skew", l.Say("past.skew-is", "s", l.Number(m.Skew.Seconds(), 1)))
		}
	}
	heard, err := kept.get(ctx, p)
	if err == nil {
		v.Hearing = p.hearing(heard.day, heard.week)
	}
	return err
}

// lastReading says what the meter said last: power, register, or both.
func (p *pastScene) lastReading(m *hindsight.Meter) string {
	l, at := p.lang(), p.tell().at(m.Heard)
	w, kwh := wattsOf(l, m.Watts), kwhOf(l, m.Wh/1000)
	switch {
	case w == "":
		return l.Say("past.last-register", "at", at, "kwh", kwh)
	case kwh == "":
		return l.Say("past.last-power", "at", at, "w", w)
	}
	return l.Say("past.last-reading", "at", at, "w", w, "kwh", kwh)
}

// hearing is the table of how the meter was heard: a column for each time.
func (p *pastScene) hearing(day, week hindsight.Hearing) figuresTable {
	l := p.lang()
	t := figuresTable{Wraps: true, Caption: l.Say("past.hearing"), Files: tableFiles(p.link(), "meter", ""), Head: []cellView{headCell(""), numCell(l.Say("past.last-day")), numCell(l.Say("past.last-week"))}}
	row := func(key string, say func(hindsight.Hearing) string) {
		t.Rows = append(t.Rows, []cellView{headCell(l.Say("past." + key)), numCell(say(day)), numCell(say(week))})
	}
	row("readings", func(h hindsight.Hearing) string { return l.Number(float64(h.Readings), 0) })
	row("usual", func(h hindsight.Hearing) string { return p.pace(h.Usual) })
	row("long", func(h hindsight.Hearing) string { return p.pace(h.Long) })
	row("gaps", func(h hindsight.Hearing) string {
		if h.Gaps == 0 {
			return "0"
		}
		return l.Say("past.gaps-of", "n", h.Gaps, "span", l.Span(h.Unheard), "most", l.Span(h.Longest))
	})
	row("resets", func(h hindsight.Hearing) string {
		if !h.HasRegister {
			return l.Say("past.no-register")
		}
		return strconv.Itoa(h.Resets)
	})
	return t
}

// pace is a distance between readings: seconds, or longer.
func (p *pastScene) pace(d time.Duration) string {
	switch {
	case d == 0:
		return "–"
	case d < 2*time.Minute:
		return p.lang().Say("past.seconds", "s", p.lang().Number(d.Seconds(), 1))
	}
	return p.lang().Span(d)
}

func percent(l *words.Language, share float64) string {
	return l.Say("past.percent", "n", l.Number(100*share, 0))
}

func plainInt(n int) string { return strconv.Itoa(n) }
