package year

// door is the policy without a queue: first at the door.
type door struct{ *house }

// Door lets the setting live without a queue.
func Door(s *Setting, wishes []Wish) *Report {
	h := newHouse(s, wishes, "no queue, first at the door")
	h.how = door{h}
	h.run(nil, nil)
	return h.finish()
}

func (p door) wishes(l *life) {
	p.todo.add(p.now.Add(l.length(l.habits.Walk, strolling, 0)), func() { p.look(l) })
}
func (p door) wet(l *life)           { p.look(l) }
func (p door) started(*life, *drum)  {}
func (p door) over(l *life, d *drum) { p.fetchLater(l, d) }
func (p door) fetched(*life, *drum)  {}
func (p door) closes()               {}
func (p door) leaves(*life)          {}
func (p door) waitsOn(*life) bool    { return false }

// look is somebody at the door who takes what they find.
func (p door) look(l *life) {
	if !l.waiting() {
		return
	}
	if d := p.atRest(l, func(*drum) bool { return true }); d != nil && p.mayStart() {
		p.start(l, d)
		return
	}
	p.back(l, func() { p.look(l) })
}

// atRest finds a machine for somebody who has neither call nor slot: an empty one, else one
// whose finished load they dare to put on the table; nil for none.
func (h *house) atRest(l *life, allowed func(*drum) bool) *drum {
	var full *drum
	for _, d := range h.drums {
		if d.kind != l.kind() || d.running || !allowed(d) {
			continue
		}
		if d.inside == nil {
			return d
		}
		if full == nil {
			full = d
		}
	}
	if full != nil && l.share(moving, l.tries+100*int(l.stage)) < l.habits.Moves {
		return full
	}
	return nil
}
