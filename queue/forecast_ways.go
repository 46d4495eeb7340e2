package queue

import (
	"cmp"
	"slices"
)

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

// fallBack lets the one that is called after turn i among those that wait for the same
// work go before it, as Line.Miss does.
func (p *play) fallBack(i int) {
	j := p.nextOfKind(i)
	switch {
	case j < 0:
	case p.roles[j].rank < p.roles[i].rank:
		p.ways = slices.DeleteFunc(p.ways, func(g giving) bool { return g == giving{j, i} })
	case !slices.Contains(p.ways, giving{i, j}):
		p.ways = append(p.ways, giving{i, j})
	}
}

// nextOfKind finds who is called after turn i among those that wait for the same work;
// -1 for none.
func (p *play) nextOfKind(i int) int {
	need, mine := p.w.turns[i].need, p.roles[i].rank
	kind, next := append(p.kind[:0], i), -1
	see := func(j int) {
		if !p.competes(j, need) {
			return
		}
		kind = append(kind, j)
		if r := p.roles[j].rank; r > mine && (next < 0 || r < p.roles[next].rank) {
			next = j
		}
	}
	for _, c := range p.ready {
		see(int(c.turn))
	}
	for _, h := range p.agenda {
		if j := -1 - h.what; j >= 0 && p.roles[j].part == asleep && p.roles[j].wake == h.at {
			see(j)
		}
	}
	p.kind = kind
	if !slices.ContainsFunc(p.ways, func(g giving) bool { return g.to == i || g.from == next }) {
		return next // nobody's way changes who comes after turn i
	}
	return p.afterIn(i, kind)
}

// afterIn is who is called after turn i among these, in their order; -1 for none.
func (p *play) afterIn(i int, kind []int) int {
	slices.SortFunc(kind, func(a, b int) int { return cmp.Compare(p.roles[a].rank, p.roles[b].rank) })
	for found := false; len(kind) > 0; {
		k := slices.IndexFunc(kind, func(j int) bool { return !p.letsOneOf(j, kind) })
		j := kind[k]
		if found {
			return j
		}
		found = j == i
		kind = slices.Delete(kind, k, k+1)
	}
	return -1
}

// letsOneOf reports whether turn j lets one of these go first.
func (p *play) letsOneOf(j int, kind []int) bool {
	return slices.ContainsFunc(p.ways, func(g giving) bool { return g.from == j && slices.Contains(kind, g.to) })
}
