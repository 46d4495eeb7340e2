package queue

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// newcomers are the needs for which "if you join now" is forecast.
var newcomers = [...]Need{Wash, Dry, WashAndDry}

// What draws are about.
const (
	aboutMiss = iota
	aboutWalk
	aboutCycle
	aboutStay
	aboutKinds // how many there are
)

// world is what all rounds of a forecast have in common. Its turns are those of
// the line by index, then a newcomer ("ghost") for each need, who is called but
// takes nothing, then the dryer turns that washes of the line will book.
type world struct {
	lots     lots
	outlook  Outlook
	turns    []actor
	ghosts   int // index of the first newcomer
	booked   int // index of the first dryer turn that is yet to be booked
	classes  []class
	machines []drum
	loads    []int                           // of each home, now
	limit    int                             // loads per home; 0 for none
	cycles   [WashAndDry + 1][]time.Duration // tables
	walks    []time.Duration
	stays    []time.Duration
	misses   int     // a call lapses whose cell is below
	said     float64 // of the misses, those whose hold was lengthened before
	ways     []giving
	windows  [WashAndDry + 1][]window
}

// actor is a turn as the rounds see it. Times are counted from now.
type actor struct {
	keys   [aboutKinds]uint64
	state  State
	class  int // -1 when no usable machine serves it
	need   Need
	home   int // index of its home; -1 for none
	ghost  bool
	misses int
	later  time.Duration // not called before
	recall time.Duration // nor before, unless another is called
	early  time.Duration // called so long before that is ready
	behind int           // the machine whose load must be ready; -1 for none
	carry  int           // the machine whose load it is to dry; -1 for none
	dryer  int           // the dryer turn that it books; -1 for none
	hold   time.Duration
	leaves time.Duration // it leaves if it was not called until then
}

// class is a set of turns with the same need that the same machines serve.
type class struct {
	need Need
	fits []bool // by machine
	best []int  // the machines that serve it, those first that are to be taken first
}

// drum is a machine as the rounds see it.
type drum struct {
	*Supply
	usable  bool
	home    int // of the load inside; -1 for none
	holder  int // the turn that it is held for; -1 for none
	carrier int // the turn that is to dry the load inside; -1 for none
	gone    time.Duration
	left    time.Duration // of the hold
	more    time.Duration // by which the hold may yet be lengthened
	misses  int           // the cells in which the holder does not come, given that it did not until now
	walked  float64       // share of walks that are shorter than gone
	rested  float64       // share of collections that are shorter than Waited
	classes []int
	keys    [aboutKinds]uint64 // of the load inside
}

func newWorld(line Line, supplies []Supply, house *House, o *Outlook, now time.Time) *world {
	if house == nil {
		house = &House{Hours: AlwaysOpen()}
	}
	w := &world{lots: lotsFor(o.Seed, len(line)), outlook: *o, limit: house.Limits.LoadsPerHome, ghosts: len(line), booked: len(line) + len(newcomers)}
	w.outlook.CallAfter, w.outlook.RecallAfter = clampSpread(o.CallAfter), clampSpread(o.RecallAfter)
	if !(o.Missed >= 0) {
		w.outlook.Missed = 0
	}
	w.outlook.WayAdds = clampSpread(o.WayAdds)
	w.walks, w.stays, w.misses, w.said = o.WalkDown.table(), o.Collect.table(), chance(o.Missed), clampShare(o.MissedSaid)
	w.readHouse(house, now)
	homes := homeIndex{loads: house.Loads, of: map[HomeID]int{}}
	w.machines = make([]drum, len(supplies))
	for i := range supplies {
		s := &supplies[i]
		w.machines[i] = drum{Supply: s, usable: s.Usable, home: homes.index(s.Home), holder: -1, carrier: -1}
		w.machines[i].keys = w.keys(hashID(s.Machine.ID) ^ s.Load)
		if !s.Running && s.Load != 0 {
			w.machines[i].rested = w.outlook.Collect.share(s.Waited)
		}
	}
	w.readLine(line, &homes, now)
	w.loads = homes.counts
	return w
}

// readHouse works out the lengths and the hours for each need.
func (w *world) readHouse(house *House, now time.Time) {
	zone := house.Zone
	if zone == nil {
		zone = time.UTC
	}
	for _, need := range newcomers {
		var cycle Spread
		if w.outlook.Cycle != nil {
			cycle = w.outlook.Cycle(need)
		}
		w.cycles[need] = cycle.table()
		var length time.Duration
		if house.Length != nil {
			length = clampSpread(house.Length(need))
		}
		w.windows[need] = house.Hours.windows(now, length, zone)
	}
}

// readLine makes the actors.
func (w *world) readLine(line Line, homes *homeIndex, now time.Time) {
	w.turns = make([]actor, 0, len(line)+len(newcomers)+4)
	for i := range line {
		w.turns = append(w.turns, w.actor(&line[i], homes, now))
	}
	for _, need := range newcomers {
		t := Turn{Need: need, State: Waiting}
		ghost := w.actor(&t, homes, now)
		ghost.ghost = true
		w.turns = append(w.turns, ghost)
	}
	for i := range line {
		t := line[i]
		if !t.DryAfter || t.Need != Wash || t.State != Waiting && t.State != Called {
			continue
		}
		w.turns[i].dryer = len(w.turns)
		dryer := w.actor(&Turn{ID: t.ID, Home: t.Home, Need: Dry, Wishes: t.Wishes, State: Waiting, LeaveAt: t.LeaveAt}, homes, now)
		dryer.keys = w.keys(^uint64(t.ID)) // its chance is not that of its wash
		dryer.early = clampSpread(w.outlook.Ahead)
		w.turns = append(w.turns, dryer)
	}
	for i := range line {
		w.readHold(i, &line[i], now)
		if m := w.turns[i].carry; m >= 0 {
			w.machines[m].carrier = i
		}
		for _, way := range line[i].Ways {
			if j := line.Index(way.To); j >= 0 {
				w.ways = append(w.ways, giving{i, j})
			}
		}
	}
}

func (w *world) actor(t *Turn, homes *homeIndex, now time.Time) actor {
	a := actor{
		keys: w.keys(uint64(t.ID)), state: t.State, class: -1, need: t.Need, home: homes.index(t.Home), misses: t.Misses,
		later: ahead(t.NotBefore, now), recall: ahead(t.Recall, now), behind: -1, carry: -1, dryer: -1, hold: w.hold(t.Home),
		leaves: w.leaves(t, now),
	}
	if t.State == Waiting || t.State == Called {
		a.class = w.classOf(t)
	}
	if t.Behind != 0 {
		if !t.Early {
			a.early = clampSpread(w.outlook.Ahead)
		}
		a.behind = slices.IndexFunc(w.machines, func(d drum) bool { return d.Load == t.Behind })
	}
	if t.Carries != 0 {
		a.carry = slices.IndexFunc(w.machines, func(d drum) bool { return d.Load == t.Carries })
	}
	return a
}

// leaves is the closing at which a turn leaves that was not called until then.
func (w *world) leaves(t *Turn, now time.Time) time.Duration {
	if t.LeaveAt.IsZero() || int(t.Need) >= len(w.windows) {
		return farthest + 1
	}
	from := ahead(t.LeaveAt, now)
	for _, open := range w.windows[t.Need] {
		if open.to >= from {
			return open.to
		}
	}
	return 0
}

// keys are those of all draws about one turn, or one machine's load.
func (w *world) keys(id uint64) (keys [aboutKinds]uint64) {
	for about := range keys {
		keys[about] = w.lots.key(uint64(about)+1, id)
	}
	return keys
}

// chance is how many cells a share of them is.
func chance(share float64) int {
	if !(share > 0) {
		return 0
	}
	return int(math.Round(min(share, 1) * cells))
}

// hold is how long a machine is held for a home.
func (w *world) hold(home HomeID) time.Duration {
	if w.outlook.Hold == nil {
		return 0
	}
	return clampSpread(w.outlook.Hold(home))
}

// readHold notes that a machine is held for turn i, and how likely it still comes.
func (w *world) readHold(i int, t *Turn, now time.Time) {
	if t.State != Called {
		return
	}
	k := slices.IndexFunc(w.machines, func(d drum) bool { return d.Machine.ID == t.Machine })
	if k < 0 || !w.machines[k].usable || w.machines[k].Running || w.machines[k].holder >= 0 || w.turns[i].class < 0 {
		return
	}
	d := &w.machines[k]
	d.holder, d.gone, d.left = i, max(0, now.Sub(t.CalledAt)), ahead(t.HoldUntil, now)
	if w.turns[i].behind >= 0 { // called ahead: the hold has yet to begin
		d.gone, d.left = 0, w.turns[i].hold
	}
	missed := w.outlook.Missed
	if d.more = w.outlook.WayAdds; !t.OnWay.IsZero() {
		// They set out when they said so, not when they were called.
		d.more, d.gone, missed = 0, min(d.gone, ahead(now, t.OnWay)), clampShare(w.outlook.WayMissed)
	}
	d.walked = w.outlook.WalkDown.share(d.gone)
	if late := missed + (1-missed)*(1-d.walked); late > 0 {
		d.misses = chance(missed / late)
	}
}

// clampShare makes a share of what is none.
func clampShare(v float64) float64 {
	if !(v > 0) {
		return 0
	}
	return min(v, 1)
}

// classOf finds or makes the class of a turn; -1 when no usable machine serves it.
func (w *world) classOf(t *Turn) int {
	fits, any := make([]bool, len(w.machines)), false
	for i := range w.machines {
		d := &w.machines[i]
		fits[i] = d.usable && t.Fits(&d.Machine) == Yes
		any = any || fits[i]
	}
	if !any {
		return -1
	}
	for c := range w.classes {
		if w.classes[c].need == t.Need && slices.Equal(w.classes[c].fits, fits) {
			return c
		}
	}
	c := class{need: t.Need, fits: fits}
	for i := range fits {
		if fits[i] {
			c.best = append(c.best, i)
			w.machines[i].classes = append(w.machines[i].classes, len(w.classes))
		}
	}
	slices.SortStableFunc(c.best, func(a, b int) int { return plainer(&w.machines[a].Machine, &w.machines[b].Machine) })
	w.classes = append(w.classes, c)
	return len(w.classes) - 1
}

// plainer orders machines by how little others can use them: plain before
// accessible or combined, small before large, then by number.
func plainer(a, b *Machine) int {
	return cmp.Or(
		flag(a.Kind == WasherDryer)-flag(b.Kind == WasherDryer),
		flag(a.Accessible)-flag(b.Accessible),
		cmp.Compare(a.CapacityKg, b.CapacityKg),
		cmp.Compare(a.Number, b.Number),
	)
}

func flag(b bool) int {
	if b {
		return 1
	}
	return 0
}

// ahead is how long from now until t; 0 for what is past or never.
func ahead(t, now time.Time) time.Duration {
	if t.IsZero() {
		return 0
	}
	return min(max(t.Sub(now), 0), math.MaxInt64/4)
}

// homeIndex numbers the homes and counts the loads that they have now.
type homeIndex struct {
	loads  map[HomeID]int
	of     map[HomeID]int
	counts []int
}

func (h *homeIndex) index(id HomeID) int {
	if id == "" {
		return -1
	}
	i, ok := h.of[id]
	if !ok {
		i = len(h.counts)
		h.of[id] = i
		h.counts = append(h.counts, h.loads[id])
	}
	return i
}
