package queue

import (
	"cmp"
	"slices"
	"time"
)

// begin sets the room to what it is now, with the chances of the round.
func (p *play) begin(round int) {
	w := p.w
	p.round, p.now, p.left, p.changes = round, 0, 0, 0
	p.agenda, p.ready, p.sulking = p.agenda[:0], p.spare[:0], p.sulking[:0]
	p.ways = append(p.ways[:0], w.ways...)
	p.stretch = [WashAndDry + 1]int{}
	p.last = int64(len(w.turns)) * step
	copy(p.loads, w.loads)
	clear(p.open)
	clear(p.want)
	for i := range w.turns {
		p.roles[i] = role{misses: w.turns[i].misses, rank: int64(i) * step, carry: w.turns[i].carry}
		if b := w.turns[i].behind; b >= 0 {
			p.roles[i].from = p.ends(b)
		}
	}
	for m := range w.machines {
		p.beginMachine(m)
	}
	for i := range w.turns[:w.booked] {
		p.beginTurn(i)
	}
}

// beginTurn lets a waiting turn wait.
func (p *play) beginTurn(i int) {
	t, r := &p.w.turns[i], &p.roles[i]
	if t.state != Waiting || t.class < 0 {
		return
	}
	p.left++
	r.later = t.later
	if t.behind >= 0 {
		r.later = max(r.later, r.from-t.early)
	}
	p.wait(i, max(r.later, t.recall), t.recall > r.later)
}

// beginMachine says when machine m opens.
func (p *play) beginMachine(m int) {
	d, s := &p.w.machines[m], &p.stands[m]
	*s = emptyStand()
	s.home, s.carrier = d.home, d.carrier
	if !d.usable {
		return
	}
	switch {
	case d.holder >= 0:
		// The load that may still be inside goes when the holder starts.
		p.release(s.home)
		s.home, s.carrier = p.w.turns[d.holder].home, -1
		p.answer(d.holder, m, d)
	case d.Running:
		stay := min(p.w.stays[p.draw(d.keys[aboutStay])], p.w.outlook.CallAfter)
		p.agenda.push(happening{p.ends(m) + stay, m})
	case d.Load != 0:
		u := share(p.draw(d.keys[aboutStay]))
		rest := p.w.outlook.Collect.after(max(0, d.Waited), d.rested, u)
		p.agenda.push(happening{min(rest, max(0, d.CallIn)), m})
	default:
		p.opens(m)
	}
}

// draw is the cell of the round for a key.
func (p *play) draw(key uint64) int { return p.w.lots.cell(key, p.round) }

// ends is when the cycle that runs in machine m is declared finished.
func (p *play) ends(m int) time.Duration {
	d := &p.w.machines[m]
	if !d.Running {
		return 0
	}
	return d.Ends.quantile(share(p.draw(d.keys[aboutCycle])))
}

// opens lets machine m be called to: its load is gone, or its hold has lapsed.
func (p *play) opens(m int) {
	s := &p.stands[m]
	p.release(s.home)
	lapsed := s.lapse
	*s = emptyStand()
	s.open = true
	for _, c := range p.w.machines[m].classes {
		p.open[c]++
	}
	if lapsed >= 0 {
		p.missed(lapsed)
	}
}

// release counts one load less for a home.
func (p *play) release(home int) {
	if home >= 0 && p.loads[home] > 0 {
		p.loads[home]--
	}
}

// call keeps machine m for turn i.
func (p *play) call(i, m int) {
	t := &p.w.turns[i]
	for _, c := range p.w.machines[m].classes {
		p.open[c]--
	}
	p.stands[m] = emptyStand()
	p.stands[m].home = t.home
	if t.home >= 0 {
		p.loads[t.home]++
	}
	p.answer(i, m, nil)
}

// answer decides whether turn i comes to machine m, which is held for it. d is nil
// for a call of this instant, else the machine with the hold that it has already.
func (p *play) answer(i, m int, d *drum) {
	w, t := p.w, &p.w.turns[i]
	keys, misses, left, late := t.keys, w.misses, t.hold, w.outlook.WayAdds
	if more := p.roles[i].misses; more > 0 {
		// The chances of a turn's second call are not those of its first.
		for k := range keys {
			keys[k] = mix64(keys[k] + uint64(more))
		}
	}
	walk := w.walks[p.draw(keys[aboutWalk])]
	if d != nil {
		misses, left, late = d.misses, d.left, d.more
		walk = w.outlook.WalkDown.after(d.gone, d.walked, share(p.draw(keys[aboutWalk])))
	}
	p.roles[i].part = away
	begin := max(p.now, p.roles[i].from)
	if cell := p.draw(keys[aboutMiss]); cell < misses {
		if float64(cell) < float64(misses)*w.said {
			left += late
		}
		p.stands[m].lapse = i
		p.agenda.push(happening{begin + left, m})
		return
	}
	end := begin + min(walk, left+late) + w.cycles[t.need][p.draw(keys[aboutCycle])]
	stay := w.stays[p.draw(keys[aboutStay])]
	p.agenda.push(happening{end + min(stay, w.outlook.CallAfter), m})
	if t.dryer >= 0 && w.turns[t.dryer].class >= 0 {
		p.last += step
		p.roles[t.dryer].rank = p.last
		p.roles[t.dryer].from, p.roles[t.dryer].carry = end, m
		p.stands[m].carrier = t.dryer
		p.wait(t.dryer, end-w.turns[t.dryer].early, false)
	}
}

// wait puts turn i to sleep until wake, or among the ready.
func (p *play) wait(i int, wake time.Duration, recall bool) {
	r := &p.roles[i]
	if wake > p.now {
		r.part, r.wake, r.recall = asleep, wake, recall
		p.agenda.push(happening{wake, -1 - i})
		if recall {
			p.sulking = append(p.sulking, i)
		}
		return
	}
	r.part, r.recall = ready, false
	t := &p.w.turns[i]
	p.want[t.class]++
	k := len(p.ready)
	if k > 0 && p.ready[k-1].rank > r.rank {
		k, _ = slices.BinarySearchFunc(p.ready, r.rank, func(c caller, rank int64) int { return cmp.Compare(c.rank, rank) })
	}
	p.ready = slices.Insert(p.ready, k, caller{r.rank, int32(i), int32(t.class), int32(t.home)})
}

// wakes lets turn i be called from now on, unless it was put to sleep anew meanwhile.
func (p *play) wakes(i int, at time.Duration) {
	if r := &p.roles[i]; r.part == asleep && r.wake == at {
		p.wait(i, p.now, false)
	}
}

// missed records that turn i let its call lapse, as Line.Miss does: once costs a
// place among turns of its need, twice ends it.
func (p *play) missed(i int) {
	r := &p.roles[i]
	r.misses++
	if r.misses >= 2 || p.w.turns[i].class < 0 {
		return
	}
	p.fallBack(i)
	r.later = max(r.later, p.w.turns[i].later)
	p.wait(i, max(r.later, p.now+p.w.outlook.RecallAfter), true)
}

func (p *play) competes(i int, need Need) bool {
	t := &p.w.turns[i]
	return t.need == need && !t.ghost
}

// forgetMisses lets the turns that missed a call be called again, as another was
// called meanwhile. It reports whether any became ready.
func (p *play) forgetMisses() bool {
	any := false
	for _, i := range p.sulking {
		if r := &p.roles[i]; r.part == asleep && r.recall {
			p.wait(i, r.later, false)
			any = any || r.part == ready
		}
	}
	p.sulking = p.sulking[:0]
	return any
}
