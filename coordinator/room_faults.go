package coordinator

import (
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// longestFault bounds what may be said about a machine, in characters: a fault, or why
// it is out of service.
const longestFault = 400

// mostFaults is how many reports about one machine the board keeps.
const mostFaults = 10

// homesToTakeOut is how many different homes must have reported a machine for it
// to be taken out of service without the manager.
const homesToTakeOut = 2

// reportFault warns the board about machine i and tells the managers. The report
// of a second home takes the machine out of service.
func (r *Room) reportFault(now time.Time, i int, e ReportFault) error {
	text, err := about(e.Text, "fault.text", "Say in a few words what is wrong (at most {most} characters).")
	if err == nil && text == "" {
		err = Refuse(Invalid, "fault.text", "Say in a few words what is wrong (at most {most} characters).", "most", longestFault)
	}
	if err != nil {
		return err
	}
	m := &r.state.Machines[i]
	m.Faults = append(forgetFault(m.Faults), Fault{At: now, Home: e.Home, Text: text})
	m.FaultCount++
	r.tell(i, Notice{
		Subject: Subject{Machine: m.ID}, Kind: FaultTold, Step: m.FaultCount, Role: Managers,
		Reason: text, UsefulUntil: now.Add(24 * time.Hour),
	})
	r.fact(Fact{Kind: FactFault, Machine: m.ID, Person: e.Person, Home: e.Home, Note: text})
	if !m.Out && reporters(m.Faults) >= homesToTakeOut {
		r.goOut(i, Fact{Note: byHomes}, "")
		r.tell(i, Notice{
			Subject: Subject{Machine: m.ID}, Kind: MachineOut, Step: m.FaultCount, Role: Managers,
			UsefulUntil: now.Add(24 * time.Hour),
		})
		return nil
	}
	r.tellInside(i, e.Home, "")
	return nil
}

// about trims what somebody says about a machine, or refuses it.
func about(text, key, sentence string) (string, error) {
	text = strings.TrimSpace(text)
	if utf8.RuneCountInString(text) > longestFault || !utf8.ValidString(text) {
		return "", Refuse(Invalid, key, sentence, "most", longestFault)
	}
	return text, nil
}

// forgetFault makes room for one more report: the oldest goes, but first one of
// those whose home has reported again, so that nobody can talk another's away.
func forgetFault(faults []Fault) []Fault {
	if len(faults) < mostFaults {
		return faults
	}
	oldest := 0
	for k := range faults {
		again := slices.ContainsFunc(faults[k+1:], func(f Fault) bool { return f.Home == faults[k].Home })
		if again || faults[k].Home == "" {
			oldest = k
			break
		}
	}
	return slices.Delete(faults, oldest, oldest+1)
}

// reporters counts the different homes among reports. Visitors without an account
// are no home: the same one may come again.
func reporters(faults []Fault) int {
	homes := map[HomeID]bool{}
	for _, f := range faults {
		if f.Home != "" {
			homes[f.Home] = true
		}
	}
	return len(homes)
}

// byHomes is the note of a machine that was taken out by the reports of homes.
const byHomes = "reported by two homes"

// reasonOut tells the owner of a load that its machine is out of service.
const reasonOut = "out"

// tellInside tells the owner of the load in machine i that a fault was reported,
// unless their own home did; the first time, and when the machine goes out.
func (r *Room) tellInside(i int, by HomeID, reason string) {
	l := r.load(r.state.Machines[i].Load)
	if l == nil || l.Owner == "" || l.AssumedEmpty || (reason == "" && (l.Home == by || l.FaultTold)) {
		return
	}
	l.FaultTold = true
	r.tell(i, Notice{
		Subject: Subject{Load: l.ID}, Kind: LoadFault, Step: r.again(), To: l.Owner,
		Reason: reason, UsefulUntil: r.state.Now.Add(12 * time.Hour),
	})
}

// takeOut takes machine i out of service.
func (r *Room) takeOut(i int, e TakeOut) error {
	text, err := about(e.Text, "out.text", "Say in a few words why it is out of service (at most {most} characters).")
	if err != nil {
		return err
	}
	if l := r.load(r.state.Machines[i].Load); l != nil && l.Reason == EndStopped && !l.StopSeen {
		l.StopSeen = true
		r.touch()
	}
	if !r.state.Machines[i].Out {
		r.goOut(i, Fact{Person: e.Person, Note: text}, text)
	}
	return nil
}

// lookedAfter notes that machine i was cleaned or mended. What its cycles show from
// now on is watched anew: see usage/wear.
func (r *Room) lookedAfter(now time.Time, i int, e LookedAfter) error {
	text, err := about(e.Text, "looked.text", "Say in a few words what was done (at most {most} characters).")
	if err != nil {
		return err
	}
	m := &r.state.Machines[i]
	if m.LookedAfter.Equal(now) {
		return nil
	}
	m.LookedAfter = now
	r.fact(Fact{Kind: FactLookedAfter, Machine: m.ID, Person: e.Person, Note: text})
	return nil
}

// goOut takes machine i out of service: whoever was called to it is at the head
// of the queue again, and the owner of a load inside is told.
func (r *Room) goOut(i int, f Fact, text string) {
	r.returnHold(i, byOut, r.state.Now)
	m := &r.state.Machines[i]
	m.Out, m.OutText, m.OutSince = true, text, r.state.Now
	r.tellInside(i, "", reasonOut)
	f.Kind, f.Machine = FactOut, m.ID
	r.fact(f)
}

// putBack puts machine i into service again and clears its faults.
func (r *Room) putBack(i int, e PutBack) error {
	m := &r.state.Machines[i]
	if !m.Out && len(m.Faults) == 0 {
		return nil
	}
	if m.Out {
		m.Since = r.state.Now
	}
	m.Out, m.OutText, m.Faults = false, "", nil
	r.fact(Fact{Kind: FactBack, Machine: m.ID, Person: e.Person})
	return nil
}
