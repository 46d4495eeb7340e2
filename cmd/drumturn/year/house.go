package year

import (
	"fmt"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// tail is how many days are added in which nobody wants anything new, so that
// whatever was begun comes to its end.
const tail = 10

// house is the building under a policy.
type house struct {
	set    *Setting
	how    policy
	now    time.Time
	todo   agenda
	lives  []*life
	drums  []*drum
	wanted [2]int // how many want a washer, a dryer
	report Report
}

func newHouse(s *Setting, wishes []Wish, name string) *house {
	h := &house{set: s, now: s.Born, report: newReport(name, s)}
	for i := range wishes {
		l := &life{Wish: &wishes[i]}
		h.lives = append(h.lives, l)
		h.todo.add(l.At, func() {
			h.wants(l, wantsWash)
			h.how.wishes(l)
		})
	}
	for i := range s.Washers + s.Dryers {
		d := &drum{id: coordinator.MachineID(fmt.Sprint("washer-", i+1)), kind: queue.Washer}
		if i >= s.Washers {
			d.id, d.kind = coordinator.MachineID(fmt.Sprint("dryer-", i+1)), queue.Dryer
		}
		h.drums = append(h.drums, d)
	}
	for day := range s.Days + tail {
		h.todo.add(s.Born.AddDate(0, 0, day).Add(shutAt), h.shuts)
	}
	return h
}

// pass lets time go by until an instant, and counts the minutes in which machines
// stood idle that somebody wanted.
func (h *house) pass(until time.Time) {
	if until.Before(h.now) {
		return
	}
	if at := clock(h.now); at >= opensAt && at < lastStart && h.wanted != [2]int{} {
		var idle, empty [2]int
		for _, d := range h.drums {
			if k := index(d.kind); !d.running {
				idle[k]++
				if d.inside == nil {
					empty[k]++
				}
			}
		}
		for k := range idle {
			h.report.Idle[k] += until.Sub(h.now) * time.Duration(min(idle[k], h.wanted[k]))
			h.report.Empty[k] += until.Sub(h.now) * time.Duration(min(empty[k], h.wanted[k]))
		}
	}
	h.now = until
}

func index(k queue.Kind) int {
	if k == queue.Dryer {
		return 1
	}
	return 0
}

// wants makes somebody want a machine from now on, until their patience ends.
func (h *house) wants(l *life, what stage) {
	l.stage, l.tries = what, 0
	h.wanted[index(l.kind())]++
	if at := clock(h.now); at < opensAt || at >= shutAt {
		h.goes(l, shut)
		return
	}
	h.todo.add(openFor(h.now, l.length(l.habits.Patience, enduring, int(what))), func() {
		if l.stage == what && !h.how.waitsOn(l) {
			h.goes(l, gaveUp)
		}
	})
}

// goes lets somebody who wants a machine do without.
func (h *house) goes(l *life, why reason) {
	h.wanted[index(l.kind())]--
	h.how.leaves(l)
	if l.stage == wantsWash {
		l.stage = gone
		h.report.Gone[why]++
		return
	}
	l.stage = done
	h.report.Undried[why]++
	h.report.Served++
}

// shuts ends the day: whoever waits for a dryer hangs the laundry up, and who
// waits for a washer goes on in the morning.
func (h *house) shuts() {
	for _, l := range h.lives {
		if l.stage == wantsDry {
			h.goes(l, shut)
		}
	}
	h.how.closes()
}

// start presses the button. The drum must be at rest; what is in it goes on the table.
func (h *house) start(l *life, d *drum) {
	if d.running || !l.waiting() || l.kind() != d.kind {
		panic(fmt.Sprintf("year: wish %d cannot start %s", l.Number, d.id))
	}
	k := index(d.kind)
	h.wanted[k]--
	length := l.WashFor
	if l.stage == wantsDry {
		h.report.Waits[k] = append(h.report.Waits[k], openBetween(l.end, h.now))
		length = l.DryFor
	} else {
		h.report.Waits[k] = append(h.report.Waits[k], openBetween(l.At, h.now))
	}
	l.stage++
	d.inside, d.running = l, true
	h.report.Busy[k] += length
	h.how.started(l, d)
	h.todo.add(h.now.Add(length), func() {
		d.running = false
		l.stage++
		if l.stage == washed {
			l.end = h.now
		}
		h.how.over(l, d)
	})
}

// fetch is somebody who comes for their load, wherever it is by now.
func (h *house) fetch(l *life, d *drum) {
	if l.stage != washed && l.stage != dried {
		return
	}
	mine := d.inside == l
	if mine {
		d.inside = nil
	}
	dryer := l.stage == washed && l.Dries && !l.undry
	switch {
	case dryer:
		if h.wants(l, wantsDry); l.stage == done {
			dryer = false
		}
	default:
		l.stage = done
		h.report.Served++
	}
	if mine {
		h.how.fetched(l, d)
	}
	if dryer {
		h.how.wet(l)
	}
}

// fetchLater lets the owner come for a load whose programme is over, as late as they are.
func (h *house) fetchLater(l *life, d *drum) {
	h.todo.add(l.awake(h.now.Add(l.late(d.kind == queue.Dryer))), func() { h.fetch(l, d) })
}

// mayStart reports whether a machine may be started at this hour.
func (h *house) mayStart() bool { at := clock(h.now); return at >= opensAt && at <= lastStart }

// back lets somebody who came in vain try again later.
func (h *house) back(l *life, again func()) {
	h.report.Vain++
	what := l.stage
	h.todo.add(l.byDay(h.now.Add(l.length(l.habits.Back, returning, l.tries+100*int(what)))), func() {
		if l.stage == what {
			again()
		}
	})
	l.tries++
}

// run lets everything happen. due is the next instant of something that is not on
// the agenda, and what is done then; nil for nothing.
func (h *house) run(due func() time.Time, do func()) {
	end := h.set.until().AddDate(0, 0, tail)
	for {
		at, ok := h.todo.next()
		if due != nil {
			if t := due(); !t.IsZero() && (!ok || !t.After(at)) {
				if t.After(end) {
					return
				}
				h.pass(t)
				do()
				continue
			}
		}
		if !ok || at.After(end) {
			return
		}
		h.pass(at)
		h.todo.pop().do()
	}
}
