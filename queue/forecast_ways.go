package queue

import "slices"

// giving is a Way between two turns, by their indexes.
type giving struct{ from, to int }

// yields reports whether turn i lets another go first to machine m, as Line.Yields does.
func (p *play) yields(i, m int) bool {
	for _, g := range p.ways {
		if g.from != i || p.roles[g.to].part != ready {
			continue
		}
		t := &p.w.turns[g.to]
		if c := &p.w.classes[t.class]; c.fits[m] && p.may[c.need] && !p.full(g.to, t.home) {
			return true
		}
	}
	return false
}

// calledBefore ends the ways of turn i, and reports whether others let it go first.
func (p *play) calledBefore(i int) bool {
	kept, any := p.ways[:0], false
	for _, g := range p.ways {
		if g.from != i {
			kept = append(kept, g)
		}
		any = any || g.to == i
	}
	p.ways = kept
	return any
}

// settle lets the first of the same kind go before turn i, which missed its call, that
// had let turn i go first, and reports whether there was one.
func (p *play) settle(i int) bool {
	first := -1
	for k, g := range p.ways {
		waits := p.roles[g.from].part == ready || p.roles[g.from].part == asleep
		if g.to == i && waits && p.competes(g.from, p.w.turns[i].need) &&
			(first < 0 || p.roles[g.from].rank < p.roles[p.ways[first].from].rank) {
			first = k
		}
	}
	if first >= 0 {
		p.ways = slices.Delete(p.ways, first, first+1)
	}
	return first >= 0
}
