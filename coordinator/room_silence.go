package coordinator

import (
	"time"

	"drumturn/coordinator/cycle"
)

// fellSilent records that nothing is known of machine i any more. A call to it
// is taken back: whether its resident started it could not be seen.
func (r *Room) fellSilent(i int, ev cycle.Event, now time.Time) {
	m := &r.state.Machines[i]
	m.Silent, m.SilentSince, m.SilentTold = true, ev.Start, false
	m.Silences++
	if !m.ByHand && !now.Before(r.state.QuietUntil) {
		r.returnHold(i, bySilence, now)
	}
	r.silentTogether(i, now)
	r.fact(Fact{Kind: FactSilent, Machine: m.ID, Start: ev.Start})
}

// heardAgain records that machine i's meter speaks again.
func (r *Room) heardAgain(i int, now time.Time) {
	m := &r.state.Machines[i]
	if m.SilentTold {
		r.withdraw(Subject{Machine: m.ID})
	}
	r.fact(Fact{Kind: FactHeard, Machine: m.ID, Start: m.SilentSince})
	m.Silent, m.SilentTold, m.SilentSince = false, false, time.Time{}
	if !m.Running && !m.ByHand {
		m.Since = now
	}
	if r.supplyOut() {
		r.supplyBack(now)
	}
}

// tellSilent tells the managers of silent meters, unless the program itself or
// the supply was down a moment ago.
func (r *Room) tellSilent(now time.Time) {
	if now.Before(r.state.QuietUntil) || r.supplyOut() {
		return
	}
	for i := range r.state.Machines {
		m := &r.state.Machines[i]
		if !m.Silent || m.SilentTold || m.Out || m.ByHand {
			continue
		}
		m.SilentTold = true
		r.returnHold(i, bySilence, now)
		r.tell(i, Notice{
			Subject: Subject{Machine: m.ID}, Kind: MeterSilent, Step: m.Silences, Role: Managers,
			Until: m.SilentSince, UsefulUntil: now.Add(24 * time.Hour),
		})
	}
}

// firstHeard records the first reading ever of machine i's meter: from now on
// something is known of it.
func (r *Room) firstHeard(i int) {
	m := &r.state.Machines[i]
	if !m.Running && !m.ByHand {
		m.Since = r.state.Now
	}
	r.fact(Fact{Kind: FactHeard, Machine: m.ID})
}

// mute reports whether nothing is known of machine i: its meter is silent, or
// was never heard, and nobody reports by hand.
func (r *Room) mute(i int) bool {
	m := &r.state.Machines[i]
	return !m.ByHand && (m.Silent || r.engines[i].Status().Last.At.IsZero())
}
