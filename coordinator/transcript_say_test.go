package coordinator

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

// physical carries out what happens to machines, meters and the program.
func (p *player) physical(t *testing.T, line int, verb string, f []string) bool {
	power := map[string]float64{"start": 300, "end": 1, "zero": 0, "idle": 1}
	w, isPower := power[verb]
	switch {
	case isPower:
		for _, id := range f {
			p.muted[MachineID(id)] = false
			p.watts(p.known(t, line, id), w)
		}
	case verb == "mute":
		for _, id := range f {
			p.muted[p.known(t, line, id)] = true
		}
	case verb == "restart" && len(f) == 1:
		p.reopen(p.span(t, line, f[0]))
		p.now = p.now.Truncate(time.Minute)
	default:
		return false
	}
	p.do(Tick{})
	return true
}

func (p *player) known(t *testing.T, line int, id string) MachineID {
	if p.room.index(MachineID(id)) < 0 {
		t.Fatalf("line %d: no machine %q", line, id)
	}
	return MachineID(id)
}

// tap carries out what somebody does on a page: VERB WHO [MACHINE or more].
func (p *player) tap(t *testing.T, line int, verb string, f []string) {
	who, rest := "", ""
	if len(f) > 0 {
		who = f[0]
	}
	if len(f) > 1 {
		rest = f[1]
	}
	person, home, m := PersonID(who), HomeID("home-"+who), MachineID(rest)
	if who == "somebody" {
		person, home = "", ""
	}
	turn := p.turnOf(person)
	events := map[string]Event{
		"leave":        Leave{Turn: turn, Person: person, Home: home},
		"let-next":     LetNext{Turn: turn, Person: person, Home: home},
		"claim":        Claim{Machine: m, Person: person, Home: home},
		"not-me":       NotMe{Machine: m, Person: person, Home: home},
		"collect":      Collect{Machine: m, Person: person, Home: home},
		"table":        Collect{Machine: m, Person: person, Home: home, OnTable: true},
		"more-time":    MoreTime{Machine: m, Person: person, Home: home},
		"open":         Door{Machine: MachineID(who), Open: true},
		"shut":         Door{Machine: MachineID(who)},
		"still-inside": StillInside{Machine: m, Person: person, Home: home},
		"fault":        ReportFault{Machine: m, Person: person, Home: home, Text: strings.Join(f[min(2, len(f)):], " ")},
		"take-out":     TakeOut{Machine: m, Person: person, Text: strings.Join(f[min(2, len(f)):], " ")},
		"put-back":     PutBack{Machine: m, Person: person},
		"by-hand":      ByHand{Machine: m, Person: person, On: true},
		"by-meter":     ByHand{Machine: m, Person: person},
		"tap-start":    StartByHand{Machine: m, Person: person, Home: home},
		"tap-end":      EndByHand{Machine: m, Person: person, Home: home},
		"moved-out":    MovedOut{Home: home},
	}
	ev := events[verb]
	switch verb {
	case "join":
		ev = p.joining(t, line, person, home, f[1:])
	case "not-now":
		ev = NotNow{Turn: turn, Person: person, Home: home, Until: p.now.Add(p.span(t, line, rest))}
	}
	if ev == nil {
		t.Fatalf("line %d: nobody can %q", line, verb)
	}
	if _, err := p.try(ev); err != nil {
		p.no = err.(*Error).Key
	}
}

func (p *player) joining(t *testing.T, line int, person PersonID, home HomeID, f []string) Join {
	j := Join{Person: person, Home: home}
	for _, word := range f {
		switch word {
		case "dry-after":
			j.DryAfter = true
		case "accessible":
			j.Wishes.Accessible = true
		default:
			if err := j.Need.UnmarshalText([]byte(word)); err != nil {
				t.Fatalf("line %d: %v", line, err)
			}
		}
	}
	return j
}

// turnOf is the first turn of a person that is not started.
func (p *player) turnOf(person PersonID) TurnID {
	for _, t := range p.room.state.Turns {
		if t.Person == person && t.State != queue.Started {
			return t.ID
		}
	}
	return 0
}

// said is what is new since the last command: a refusal, notices, machines, the queue.
func (p *player) said() []string {
	var out []string
	if p.no != "" {
		out = append(out, "refused: "+p.no)
	}
	for _, n := range p.notices[p.told:] {
		out = append(out, noticeLine(n))
	}
	p.told = len(p.notices)
	snap := p.room.Snapshot(p.now)
	for i := range snap.Machines {
		v := &snap.Machines[i]
		out = p.show(out, string(v.ID), viewLine(v, p.now))
	}
	supply := ""
	if !snap.SupplySince.IsZero() {
		supply = "supply interrupted since " + hhmm(snap.SupplySince)
	}
	if p.shown["supply"] != "" && supply == "" {
		out = append(out, "supply is back")
	}
	if supply != "" {
		out = p.show(out, "supply", supply)
	}
	p.shown["supply"] = supply
	return p.show(out, "queue", queueLine(snap))
}

// show appends a line when it is another than the last time.
func (p *player) show(out []string, what, line string) []string {
	if p.shown[what] == line {
		return out
	}
	p.shown[what] = line
	return append(out, line)
}

func hhmm(t time.Time) string { return t.UTC().Format("15:04") }

func noticeLine(n Notice) string {
	s := fmt.Sprintf("%s %s machine %d to %s%s", hhmm(n.Made), n.Kind, n.Machine, n.To, n.Role)
	if !n.Until.IsZero() {
		s += ", until " + hhmm(n.Until)
	}
	if !n.ReadyAt.IsZero() {
		s += ", ready " + hhmm(n.ReadyAt)
	}
	if n.LoadInside {
		s += ", load inside"
	}
	if n.Reason != "" {
		s += ", " + n.Reason
	}
	return s
}

func viewLine(v *MachineView, now time.Time) string {
	s := fmt.Sprintf("%s is %s since %s", v.ID, v.Status, hhmm(v.Since))
	switch {
	case v.Status == Running && !v.Until.IsZero() && !v.Until.After(now):
		s += ", any minute now"
	case !v.Until.IsZero():
		s += " until " + hhmm(v.Until)
	}
	if l := v.Load; l != nil {
		s += fmt.Sprintf(", load %d", l.ID)
		if l.Owner != "" {
			s += " of " + string(l.Owner)
		}
		if l.Reason != "" {
			s += " " + string(l.Reason)
		}
		if l.Past != 0 {
			s += ", out of turn"
		}
		if l.MoreUntil.After(now) {
			s += ", more time until " + hhmm(l.MoreUntil)
		}
	}
	if h := v.Hold; h != nil && v.Status != Held {
		s += fmt.Sprintf(", turn %d called", h.Turn)
	}
	if v.MayHoldLoad {
		s += ", may hold a load"
	}
	if v.OpenToWalkUps {
		s += ", open to walk-ups"
	}
	return s
}

func queueLine(snap *Snapshot) string {
	if len(snap.Turns) == 0 {
		return "queue: nobody"
	}
	var turns []string
	for _, t := range snap.Turns {
		s := fmt.Sprintf("%s %s %s", t.Person, t.Need, t.State)
		if t.Machine != "" {
			s += " " + string(t.Machine)
		}
		if t.Behind != 0 {
			s += fmt.Sprintf(" behind load %d", t.Behind)
		}
		turns = append(turns, s)
	}
	return "queue: " + strings.Join(turns, "; ")
}
