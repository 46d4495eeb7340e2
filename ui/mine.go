package ui

import (
	"slices"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// ownership is what in a room belongs to a visitor.
type ownership struct {
	person *coordinator.Person
	turns  []*queue.Turn // waiting or called, own ones
	loads  map[coordinator.MachineID]bool
	held   map[coordinator.MachineID]bool
	table  []coordinator.TableLoad
}

// ownershipOf looks through a snapshot; nil for a visitor to whom nothing in
// the room belongs.
func ownershipOf(snap *coordinator.Snapshot, p *coordinator.Person) *ownership {
	if p == nil {
		return nil
	}
	o := &ownership{person: p, loads: map[coordinator.MachineID]bool{}, held: map[coordinator.MachineID]bool{}}
	for i := range snap.Turns {
		t := &snap.Turns[i]
		if t.Person != p.ID || (t.State != queue.Waiting && t.State != queue.Called) {
			continue
		}
		o.turns = append(o.turns, t)
		if t.State == queue.Called {
			o.held[t.Machine] = true
		}
	}
	for i := range snap.Machines {
		m := &snap.Machines[i]
		if ownLoad(m, p) {
			o.loads[m.ID] = true
		}
	}
	for _, l := range snap.Table {
		if l.Of(p.ID, p.Home) {
			o.table = append(o.table, l)
		}
	}
	if len(o.turns)+len(o.loads)+len(o.table) == 0 {
		return nil
	}
	return o
}

// ownLoad reports whether the load in a machine is the person's or their home's.
func ownLoad(m *coordinator.MachineView, p *coordinator.Person) bool {
	if m.Load == nil || p == nil {
		return false
	}
	return m.Load.Owner == p.ID || m.Load.SharedWith(p.ID, p.Home) || (m.Load.Owner != "" && p.Home != "" && m.Load.Home == p.Home)
}

func (o *ownership) has(m *coordinator.MachineView) bool {
	return o != nil && (o.loads[m.ID] || o.held[m.ID])
}

// turnRows are the rows of the visitor's waiting turns.
func (o *ownership) turnRows(sc *scene) []row {
	var out []row
	for _, t := range o.turns {
		if t.State == queue.Waiting {
			out = append(out, turnRow(sc.axis, t, sc.snap.Forecast(t.ID), place(sc.snap, t)))
		}
	}
	return out
}

// place counts a turn among those that wait for the same, from 1.
func place(snap *coordinator.Snapshot, turn *queue.Turn) int {
	line := queue.Line(snap.Turns)
	if i := line.Index(turn.ID); i >= 0 {
		return line.Place(i)
	}
	return 1
}

// mineView is the panel above the board: my turns, my loads.
type mineView struct {
	Room    coordinator.RoomID
	Say     string // for screen readers, when it changes
	Turns   []turnView
	Loads   []loadView
	Table   []tableView
	Problem *problem
}

// turnView is one turn with what can be done about it.
type turnView struct {
	ID                    coordinator.TurnID
	Called                bool
	Need, Word, Place     string
	Machine, MachineLink  string
	Until, When           string
	Soon                  bool   // the forecast is being worked out
	Old                   string // when it was, if that is a while ago
	LoadInside, HasBehind bool
	SecondCall            bool
	DryAfter              bool
	NotBefore             string
	Hopeless              string // why it cannot be called as things stand
	Later                 []laterChoice
	// Closes: the room has opening hours, so that the turn leaves at closing, or not.
	Closes, LeavesAtClosing bool
	OnWay                   bool // they said that they are coming
	Ahead                   bool // called before its wash has ended
}

// laterChoice is one choice of "not now until".
type laterChoice struct {
	Minutes int
	Label   string
}

// laterMinutes are the choices of "not now".
var laterMinutes = []int{15, 30, 60, 120, 240}

// loadView is one load with what can be done about it.
type loadView struct {
	Machine, Link     string
	MachineID         coordinator.MachineID
	Word, Detail      string
	Ready, Late       bool
	Shared            bool // of the home, not of this person
	SomebodyWaits     string
	CanNotMe, Stopped bool
	With              int    // how many neighbours share it
	Neighbour         bool   // it is a neighbour's, shared by this person or home
	CanDry            bool   // a dryer can be booked behind it
	MoreTime          string // how much more time the owner can ask for; empty: none
}

// mine builds the panel; nil when nothing belongs to the visitor.
func (sc *scene) mine(o *ownership) *mineView {
	if o == nil {
		return nil
	}
	v := &mineView{Room: sc.snap.Room}
	for _, t := range o.turns {
		v.Turns = append(v.Turns, sc.turnView(t))
	}
	for i := range sc.snap.Machines {
		if m := &sc.snap.Machines[i]; o.loads[m.ID] {
			v.Loads = append(v.Loads, sc.loadView(m, o.person))
		}
	}
	for _, l := range o.table {
		v.Table = append(v.Table, sc.tableView(&l))
	}
	v.Say = v.say(sc.lang())
	return v
}

func (sc *scene) turnView(t *queue.Turn) turnView {
	tell := sc.tell()
	v := turnView{
		ID: t.ID, Called: t.State == queue.Called, Need: needWord(tell.lang, t.Need), Word: callWord(t.ID),
		Place: tell.lang.Nth("turn.place-for", place(sc.snap, t), "need", needWord(tell.lang, t.Need)), SecondCall: t.Misses > 0, DryAfter: t.DryAfter,
		HasBehind: hasBehind(sc.snap, t),
		Closes:    sc.snap.Rules.Hours != queue.AlwaysOpen(), LeavesAtClosing: !t.LeaveAt.IsZero(),
	}
	if t.NotBefore.After(sc.now) {
		v.NotBefore = tell.at(t.NotBefore)
	}
	if v.Called {
		v.Until, v.OnWay = tell.at(t.HoldUntil), !t.OnWay.IsZero()
		if m := sc.snap.Machine(t.Machine); m != nil {
			v.Machine, v.MachineLink = machineName(tell.lang, m), machinePath(sc.snap.Room, m.ID)
			v.Ahead = m.Hold != nil && m.Hold.Ahead
			v.LoadInside = m.Load != nil || (m.Hold != nil && m.Hold.LoadInside)
		}
	} else if v.Hopeless = tell.hopeless(sc.snap, t); v.Hopeless != "" {
	} else if f := sc.snap.Forecast(t.ID); f != nil && f.Known {
		v.When, v.Old = tell.forecast(f), sc.oldForecast()
	} else {
		v.Soon = f == nil
	}
	for _, minutes := range laterMinutes {
		at := sc.now.Add(time.Duration(minutes) * time.Minute)
		v.Later = append(v.Later, laterChoice{minutes, tell.at(at)})
	}
	return v
}

// hasBehind reports whether another turn waits behind one, for the same.
func hasBehind(snap *coordinator.Snapshot, turn *queue.Turn) bool {
	line := queue.Line(snap.Turns)
	if turn.State != queue.Called {
		i := line.Index(turn.ID)
		return i >= 0 && line.CanLetNext(i)
	}
	// Whoever waits for the same could have the machine instead.
	return slices.ContainsFunc(line, func(t queue.Turn) bool { return t.State == queue.Waiting && t.Need == turn.Need })
}

func (sc *scene) loadView(m *coordinator.MachineView, p *coordinator.Person) loadView {
	tell := sc.tell()
	v := loadView{
		Machine: machineName(tell.lang, m), MachineID: m.ID, Link: machinePath(sc.snap.Room, m.ID),
		Word: tell.word(m), Detail: tell.main(m), Ready: m.Load.Ready(),
		Late: m.Status == coordinator.Overdue, Shared: m.Load.Owner != p.ID,
		Stopped: m.Load.Reason == coordinator.EndStopped,
	}
	if n := waitingFor(sc.snap, m); n > 0 && v.Ready {
		v.SomebodyWaits = tell.lang.Say("mine.waits")
		if m.Hold != nil {
			v.SomebodyWaits = tell.lang.Say("mine.called")
		}
	}
	v.MoreTime = moreTime(tell.lang, m)
	v.With, v.Neighbour = len(m.Load.Shared), m.Load.SharedWith(p.ID, p.Home)
	v.CanDry = canDryAfter(sc.snap, m)
	sincestart := sc.now.Sub(m.Load.StartedAt)
	v.CanNotMe = m.Load.Owner == p.ID && m.Load.Turn != 0 && !v.Ready && sincestart <= sc.snap.Rules.NotMeWithin
	return v
}

// canDryAfter reports whether a dryer can be booked behind the load in a machine.
func canDryAfter(snap *coordinator.Snapshot, m *coordinator.MachineView) bool {
	if m.Status != coordinator.Running || m.Load == nil || m.Kind == queue.Dryer || !slices.Contains(needs(snap), queue.Dry) {
		return false
	}
	booked := func(t queue.Turn) bool { return t.Behind == uint64(m.Load.ID) }
	return !slices.ContainsFunc(snap.Turns, booked)
}

// moreTime is how much more time a load's owner can ask for, in words; empty for none.
func moreTime(l *words.Language, m *coordinator.MachineView) string {
	if m.MoreTime <= 0 {
		return ""
	}
	return l.Span(m.MoreTime)
}

// waitingFor counts the turns that a machine could serve.
func waitingFor(snap *coordinator.Snapshot, m *coordinator.MachineView) int {
	n := 0
	for i := range snap.Turns {
		t := &snap.Turns[i]
		if (t.State == queue.Waiting && serves(m.Kind, t.Need)) || (t.State == queue.Called && t.Machine == m.ID) {
			n++
		}
	}
	return n
}

// Count is how much waits for the visitor: calls, and loads that are ready.
func (v *mineView) Count() int {
	n := 0
	for _, t := range v.Turns {
		if t.Called {
			n++
		}
	}
	for _, l := range v.Loads {
		if l.Ready {
			n++
		}
	}
	return n
}

// say is the panel's most urgent sentence.
func (v *mineView) say(say *words.Language) string {
	for _, t := range v.Turns {
		if t.Called {
			return say.Say("mine.say-called", "machine", t.Machine, "until", t.Until)
		}
	}
	for _, l := range v.Loads {
		if l.Ready {
			return say.Say("mine.say-load", "machine", l.Machine, "status", l.Word)
		}
	}
	for _, t := range v.Turns {
		return say.Say("mine.say-place", "place", t.Place)
	}
	return ""
}
