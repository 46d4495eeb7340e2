package ui

import (
	"drumturn/coordinator"
)

// hands lists what in a room needs a hand, the most pressing first.
func hands(sc *scene) []handView {
	var out []handView
	for _, find := range []func(*scene, *coordinator.MachineView) (handView, bool){
		faultHand, stoppedHand, overdueHand, silentHand, meterBackHand, forgottenHand, outHand, stalledHand, pastHand,
	} {
		for i := range sc.snap.Machines {
			m := &sc.snap.Machines[i]
			if h, ok := find(sc, m); ok {
				h.Room, h.Machine, h.Link = sc.snap.Name, machineName(sc.lang(), m), machinePath(sc.snap.Room, m.ID)
				if h.Do != "" {
					h.Act = "/manager" + h.Link
				}
				out = append(out, h)
			}
		}
	}
	return append(append(out, tableHand(sc)...), hopelessHands(sc)...)
}

// hopelessHands says for which work no day's opening hours are long enough.
func hopelessHands(sc *scene) []handView {
	var out []handView
	for i := range sc.snap.TooLong {
		what := sc.tell().tooLong(&sc.snap.TooLong[i]) + " " + sc.lang().Say("hand.too-long")
		out = append(out, handView{Machine: sc.snap.Name, Link: roomPath(sc.snap.Room), What: what, Go: "/manager" + roomPath(sc.snap.Room) + "/rules", Button: sc.lang().Say("manager.rules")})
	}
	return out
}

func faultHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if len(m.Faults) == 0 || m.Status == coordinator.Out {
		return handView{}, false
	}
	last, l := m.Faults[len(m.Faults)-1], sc.lang()
	what := l.Say("hand.fault", "at", sc.tell().at(last.At), "text", last.Text)
	return handView{What: what, Do: "take-out", Button: l.Say("hand.take-out")}, true
}

func stoppedHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if m.Load == nil || m.Load.Reason != coordinator.EndStopped || m.Load.StopSeen || !m.Load.Ready() || m.Status == coordinator.Out {
		return handView{}, false
	}
	l := sc.lang()
	what := l.Say("hand.stopped", "at", sc.tell().at(m.Load.ReadyAt))
	return handView{What: what, Do: "take-out", Button: l.Say("hand.take-out")}, true
}

func overdueHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if m.Load == nil || m.Status != coordinator.Overdue || m.Load.Reason == coordinator.EndStopped && !m.Load.StopSeen {
		return handView{}, false
	}
	l := sc.lang()
	what := l.Say("hand.overdue", "span", l.Span(sc.now.Sub(m.Load.ReadyAt)), "at", sc.tell().at(m.Load.ReadyAt))
	if m.Load.Owner == "" {
		what += " " + l.Say("hand.nobody")
	}
	return handView{What: what, Do: "on-table", Button: l.Say("do.on-table")}, true
}

func silentHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if m.Status != coordinator.Unknown {
		return handView{}, false
	}
	l := sc.lang()
	what := l.Say("hand.never-heard")
	if since := silentSince(m); !since.IsZero() {
		what = l.Say("hand.silent", "at", sc.tell().at(since))
	}
	what += " " + l.Say("hand.look-meter")
	return handView{What: what, Do: "by-hand-on", Button: l.Say("hand.by-hand")}, true
}

// meterBackHand is a machine that is run by hand although its meter is heard again.
func meterBackHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if !m.MeterBack {
		return handView{}, false
	}
	l := sc.lang()
	return handView{What: l.Say("hand.meter-back", "at", sc.tell().at(m.Heard)), Do: "by-hand-off", Button: l.Say("hand.by-meter")}, true
}

// forgottenHand is a load that nobody said was collected: for long on the board,
// or for a day.
func forgottenHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if !m.MayHoldLoad {
		return handView{}, false
	}
	l := sc.lang()
	what := l.Say("hand.may-hold")
	if m.Load != nil && m.Load.Forgotten {
		what = l.Say("hand.forgotten", "span", l.Span(sc.now.Sub(m.Load.ReadyAt)), "at", sc.tell().at(m.Load.ReadyAt))
	}
	return handView{What: what, Do: "empty", Button: l.Say("do.empty")}, true
}

// pastHand is a start out of turn, where the house wants to know of it.
func pastHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if m.Load == nil || m.Load.Past == 0 || m.Load.PastSeen || sc.snap.Rules.WalkUps != coordinator.Reported {
		return handView{}, false
	}
	l := sc.lang()
	return handView{What: l.Say("hand.past", "at", sc.tell().at(m.Load.StartedAt)), Do: "seen", Button: l.Say("hand.seen")}, true
}

func outHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if m.Status != coordinator.Out {
		return handView{}, false
	}
	l := sc.lang()
	what := l.Say("hand.out", "at", sc.tell().at(m.Since))
	if m.OutText != "" {
		what += " " + l.Say("hand.quote", "text", m.OutText)
	}
	return handView{What: what, Do: "put-back", Button: l.Say("hand.put-back")}, true
}

func stalledHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if !m.Stalled || m.Status != coordinator.Running {
		return handView{}, false
	}
	l := sc.lang()
	return handView{What: l.Say("hand.stalled", "at", sc.tell().at(m.Since)), Do: "take-out", Button: l.Say("hand.take-out")}, true
}
