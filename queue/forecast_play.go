package queue

import (
	"math"
	"time"
)

// never is later than every forecast, in milliseconds.
const never = math.MaxInt32

// step is the distance of two ranks, so that turns that were overtaken fit between them.
const step = 1 << 32

// part is what a turn does in a round.
type part uint8

// The parts. An absent turn is not booked yet, or has no machine; one that is
// away is called, started or ended.
const (
	absent part = iota
	asleep
	ready
	away
)

// role is the state of a turn within a round.
type role struct {
	part   part
	told   bool // it was called once: its forecast is made
	recall bool // asleep only because it missed a call
	misses int
	rank   int64
	carry  int           // the machine whose load it is to dry; -1 for none
	later  time.Duration // not called before, whatever others do
	from   time.Duration // its hold does not begin before
	wake   time.Duration // when asleep
}

// stand is the state of a machine within a round.
type stand struct {
	open    bool
	home    int // whose load is inside; -1 for none
	lapse   int // the turn whose hold ends when the machine opens; -1 for none
	carrier int // the turn that is to dry the load inside; -1 for none
}

// emptyStand is a machine with nobody's load.
func emptyStand() stand { return stand{home: -1, lapse: -1, carrier: -1} }

// caller is a turn that can be called, with what decides whether it is.
type caller struct {
	rank              int64
	turn, class, home int32
}

// play is one round, and what came of all of them.
type play struct {
	w      *world
	round  int
	now    time.Duration
	roles  []role
	stands []stand
	loads  []int
	agenda agenda
	ready  []caller // turns that can be called, by rank; within spare
	spare  []caller
	left   int   // turns whose forecast is not made yet
	last   int64 // the rank of the last in the line
	// sulking are the turns that sleep only because they missed a call, and some
	// that did and woke.
	sulking []int
	ways    []giving // who lets whom go first
	kind    []int    // within nextOfKind
	// By class: open machines, ready turns, and whether there is both and a start allowed.
	open, want []int
	can        []bool
	// By need: whether a start is allowed, until changes, and the stretch in which
	// it is, or will be next.
	may     [WashAndDry + 1]bool
	stretch [WashAndDry + 1]int
	changes time.Duration
	// called holds, for each turn of the line and newcomer, a row with when it was
	// first called in each round, ms from now.
	called []int32
}

func newPlay(w *world) *play {
	p := &play{
		w: w, roles: make([]role, len(w.turns)), stands: make([]stand, len(w.machines)), loads: make([]int, len(w.loads)),
		agenda: make(agenda, 0, len(w.turns)+len(w.machines)), spare: make([]caller, 0, 4*len(w.turns)),
		open: make([]int, len(w.classes)), want: make([]int, len(w.classes)), can: make([]bool, len(w.classes)),
		called: make([]int32, w.booked*w.lots.rounds()),
	}
	for i := range p.called {
		p.called[i] = never
	}
	return p
}

// play runs one round until every waiting turn and newcomer was called.
func (p *play) play(round int) {
	p.begin(round)
	for p.left > 0 {
		p.callReady()
		at, ok := p.next()
		if !ok || at > farthest || p.left == 0 {
			return
		}
		p.now = at
		for len(p.agenda) > 0 && p.agenda[0].at <= at {
			if h := p.agenda.pop(); h.what >= 0 {
				p.opens(h.what)
			} else {
				p.wakes(-1-h.what, h.at)
			}
		}
	}
}

// next is the instant of the next happening, or of the next opening or closing of
// the room when a ready turn waits for it.
func (p *play) next() (time.Duration, bool) {
	shut := false
	for c := range p.w.classes {
		shut = shut || p.want[c] > 0 && p.open[c] > 0 && !p.may[p.w.classes[c].need]
	}
	switch {
	case len(p.agenda) == 0:
		return p.changes, shut
	case shut:
		return min(p.changes, p.agenda[0].at), true
	}
	return p.agenda[0].at, true
}

// look works out for which needs a start is allowed now, and until when that
// stays so. Time only goes forward, so stretches that are over are left behind.
func (p *play) look() {
	p.changes = farthest + 1
	for _, need := range newcomers {
		list, k := p.w.windows[need], &p.stretch[need]
		for *k < len(list) && list[*k].to < p.now {
			*k++
		}
		if p.may[need] = *k < len(list) && list[*k].from <= p.now; p.may[need] {
			p.changes = min(p.changes, list[*k].to+1)
		} else if *k < len(list) {
			p.changes = min(p.changes, list[*k].from)
		}
	}
}

// useful works out which classes a machine is open for, and reports whether any.
func (p *play) useful() bool {
	if p.now >= p.changes {
		p.look()
	}
	any := false
	for c := range p.w.classes {
		p.can[c] = p.open[c] > 0 && p.want[c] > 0 && p.may[p.w.classes[c].need]
		any = any || p.can[c]
	}
	return any
}

// callReady calls every ready turn that a machine is open for, in the order of
// the line.
func (p *play) callReady() {
	stood := false // one stood back for another, who may come to its limit by a call
	for useful, k := p.useful(), 0; useful && k < len(p.ready); {
		c := &p.ready[k]
		if !p.can[c.class] || p.full(int(c.turn), int(c.home)) {
			k++
			continue
		}
		i, class := int(c.turn), int(c.class)
		m := p.bestFor(i, class)
		if m < 0 {
			stood = true
			k++
			continue
		}
		p.unready(k)
		p.want[class]--
		p.roles[i].part = away
		if p.now > p.w.turns[i].leaves {
			p.leaves(i)
			useful = p.useful()
			continue
		}
		p.note(i)
		if !p.w.turns[i].ghost {
			p.call(i, m)
			woke, let := p.forgetMisses(), p.calledBefore(i)
			if woke || let || stood {
				k, stood = 0, false
			}
		}
		useful = p.useful()
	}
}

// unready takes the k-th out of the ready. Those called are near the head, so it
// is those before it that move.
func (p *play) unready(k int) {
	copy(p.ready[1:k+1], p.ready[:k])
	p.ready = p.ready[1:]
}

// full reports whether the home of turn i has as many loads in the room as it may,
// but for the one that the turn is to dry.
func (p *play) full(i, home int) bool {
	if home < 0 || p.w.limit <= 0 {
		return false
	}
	n := p.loads[home]
	if m := p.roles[i].carry; m >= 0 && p.stands[m].carrier == i && p.stands[m].home == home {
		n--
	}
	return n >= p.w.limit
}

// leaves lets turn i go, which was not called before the room closed.
func (p *play) leaves(i int) {
	if i < p.w.booked && !p.roles[i].told {
		p.roles[i].told = true
		p.left--
	}
}

// note writes down when turn i was first called.
func (p *play) note(i int) {
	if i >= p.w.booked || p.roles[i].told {
		return
	}
	p.roles[i].told = true
	p.called[i*p.w.lots.rounds()+p.round] = int32(p.now / time.Millisecond)
	p.left--
}

// bestFor picks the open machine for turn i; -1 when it lets others have them all.
func (p *play) bestFor(i, class int) int {
	for _, m := range p.w.classes[class].best {
		if p.stands[m].open && !p.yields(i, m) {
			return m
		}
	}
	return -1
}

// guess are the percentiles of turn i over the rounds.
func (p *play) guess(i int) Guess {
	rounds := p.w.lots.rounds()
	row := p.called[i*rounds : (i+1)*rounds]
	median := pick(row, rounds/2)
	if median == never {
		return Guess{}
	}
	low := pick(row[:rounds/2], rounds/10)
	high := pick(row[rounds/2:], rounds*9/10-rounds/2)
	return Guess{In: Span{ahead32(low), ahead32(median), ahead32(high)}, OK: true}
}

func ahead32(ms int32) time.Duration { return min(time.Duration(ms)*time.Millisecond, farthest) }

// pick returns the k-th smallest value of a row, from 0, and leaves none larger
// before it and none smaller behind it (Hoare's selection, 1961).
func pick(row []int32, k int) int32 {
	lo, hi := 0, len(row)-1
	for lo < hi {
		pivot, i, j := row[(lo+hi)/2], lo, hi
		for i <= j {
			for row[i] < pivot {
				i++
			}
			for row[j] > pivot {
				j--
			}
			if i <= j {
				row[i], row[j] = row[j], row[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return row[k]
		}
	}
	return row[k]
}
