package ui

import (
	"drumturn/coordinator"
)

// hands lists what in a room needs a hand, the most pressing first.
func hands(sc *scene) []handView {
	var out []handView
	for _, find := range []func(*scene, *coordinator.MachineView) (handView, bool){
		faultHand, stoppedHand, overdueHand, silentHand, forgottenHand, outHand, stalledHand, pastHand,
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
	return append(out, tableHands(sc)...)
}

func faultHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if len(m.Faults) == 0 || m.Status == coordinator.Out {
		return handView{}, false
	}
	last := m.Faults[len(m.Faults)-1]
	what := "A fault was reported at " + sc.tell().at(last.At) + ": “" + last.Text + "”"
	return handView{What: what, Do: "take-out", Button: "Take out of service"}, true
}

func stoppedHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if m.Load == nil || m.Load.Reason != coordinator.EndStopped || !m.Load.Ready() {
		return handView{}, false
	}
	what := "A cycle stopped early at " + sc.tell().at(m.Load.ReadyAt) +
		": somebody switched it off, or the machine has a fault. The drum may hold water."
	return handView{What: what, Do: "take-out", Button: "Take out of service"}, true
}

func overdueHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if m.Load == nil || m.Status != coordinator.Overdue || m.Load.Reason == coordinator.EndStopped {
		return handView{}, false
	}
	what := "A load has waited " + sc.lang().Span(sc.now.Sub(m.Load.ReadyAt)) + ", since " + sc.tell().at(m.Load.ReadyAt) + "."
	if m.Load.Owner == "" {
		what += " Nobody has said whose it is."
	}
	return handView{What: what, Do: "on-table", Button: "I put it on the table"}, true
}

func silentHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if m.Status != coordinator.Unknown {
		return handView{}, false
	}
	what := "The meter has not been heard yet."
	if since := silentSince(m); !since.IsZero() {
		what = "The meter is silent since " + sc.tell().at(since) + "."
	}
	what += " Look whether its plug or meter has power and reaches the network."
	return handView{What: what, Do: "by-hand-on", Button: "Run by hand meanwhile"}, true
}

// forgottenHand is a load that nobody said was collected: for long on the board,
// or for a day.
func forgottenHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if !m.MayHoldLoad {
		return handView{}, false
	}
	what := "A load may still lie inside: nobody said that it was collected."
	if m.Load != nil && m.Load.Forgotten {
		what = "Forgotten for " + sc.lang().Span(sc.now.Sub(m.Load.ReadyAt)) + ": a load of " + sc.tell().at(m.Load.ReadyAt) +
			" may still lie inside; nobody said that it was collected."
	}
	return handView{What: what, Do: "empty", Button: "It is empty"}, true
}

// pastHand is a start out of turn, where the house wants to know of it.
func pastHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if m.Load == nil || m.Load.Past == 0 || sc.snap.Rules.WalkUps != coordinator.Reported {
		return handView{}, false
	}
	return handView{What: "Started at " + sc.tell().at(m.Load.StartedAt) + " although somebody waited for it, by nobody who had been called."}, true
}

func outHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if m.Status != coordinator.Out {
		return handView{}, false
	}
	what := "Out of service since " + sc.tell().at(m.Since) + "."
	if m.OutText != "" {
		what += " “" + m.OutText + "”"
	}
	return handView{What: what, Do: "put-back", Button: "Put back into service"}, true
}

func stalledHand(sc *scene, m *coordinator.MachineView) (handView, bool) {
	if !m.Stalled || m.Status != coordinator.Running {
		return handView{}, false
	}
	what := "Running since " + sc.tell().at(m.Since) + ", far longer than usual. Have a look at it."
	return handView{What: what}, true
}
