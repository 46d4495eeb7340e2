package ui

import (
	"context"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/enough"
	"drumturn/push/words"
)

// answerView is one line at the top of the manager's day: a word for what is
// asked, the answer, and where there is more of it.
type answerView struct{ Word, Says, Link string }

// answers say in a line each whether the machines work, what is to be done, how
// the rooms are used, what that costs, what is wearing and whether there is enough.
func (s *Server) answers(ctx context.Context, l *words.Language, todo int, worn []handView) ([]answerView, error) {
	all := []answerView{s.workAnswer(l), todoAnswer(l, todo)}
	if s.o.Report != nil {
		q := readUse(nil, s.localDay())
		r, err := s.o.Report(ctx, q.Query, s.houseRooms(l))
		if err != nil {
			return nil, err
		}
		all = append(all, useAnswers(l, r, q)...)
	}
	if s.o.Worn != nil {
		all = append(all, wearAnswer(l, worn))
	}
	if s.o.Capacity != nil {
		a, err := s.enoughAnswer(ctx, l)
		if err != nil {
			return nil, err
		}
		all = append(all, a)
	}
	return all, nil
}

// works reports whether a machine does what it is there for, as far as is known.
func works(m *coordinator.MachineView) bool {
	stopped := m.Load != nil && m.Load.Reason == coordinator.EndStopped && m.Load.Ready()
	return m.Status != coordinator.Out && m.Status != coordinator.Unknown && len(m.Faults) == 0 && !m.Stalled && !stopped
}

func (s *Server) workAnswer(l *words.Language) answerView {
	n, all := 0, 0
	for _, id := range s.o.House.Rooms() {
		if snap := s.o.House.Snapshot(id); snap != nil {
			for i := range snap.Machines {
				if all++; works(&snap.Machines[i]) {
					n++
				}
			}
		}
	}
	a := answerView{l.Say("summary.works"), l.Count("summary.some-work", n, "all", all), "#rooms"}
	if n == all {
		a.Says = l.Count("summary.all-work", n)
	}
	return a
}

func todoAnswer(l *words.Language, todo int) answerView {
	a := answerView{l.Say("summary.todo"), l.Say("summary.nothing"), "#hands"}
	if todo > 0 {
		a.Says = l.Count("summary.todo-is", todo)
	}
	return a
}

// useAnswers are how much was washed, and what it cost. Without a price they say
// where one is entered.
func useAnswers(l *words.Language, r *usage.Report, q useQuery) []answerView {
	use, cost := l.Say("use.title"), l.Say("use.cost")
	w := &r.Whole
	if w.Days == 0 {
		return []answerView{{use, l.Say("summary.no-figures"), q.link()}}
	}
	u := useDrawer{l: l, r: r, q: q}
	all := []answerView{{use, l.Count("summary.use-is", w.Cycles, "share", l.Fixed(100*w.Utilisation(), 0), "days", usualDays), q.link()}}
	kwh := l.Fixed(w.KWh(), 0)
	if money := r.Currency.Text(w.Cost); money != "" {
		return append(all, answerView{cost, l.Say("summary.cost-is", "money", u.money(money)+"\u00a0"+r.Currency.Code, "kwh", kwh, "days", usualDays), q.link()})
	}
	return append(all, answerView{cost, l.Say("summary.no-price", "kwh", kwh, "days", usualDays), "/manager/tariff"})
}

func wearAnswer(l *words.Language, worn []handView) answerView {
	if len(worn) == 0 {
		return answerView{l.Say("summary.wear"), l.Say("summary.no-wear"), "#rooms"}
	}
	machines := map[string]bool{}
	for i := range worn {
		machines[worn[i].Link] = true
	}
	return answerView{l.Say("summary.wear"), l.Count("summary.wear-is", len(machines), "machine", worn[0].Machine, "room", worn[0].Room), worn[0].Link}
}

// enoughAnswer is the change that would shorten the waits the most, of any room
// and kind of machine; or that none would.
func (s *Server) enoughAnswer(ctx context.Context, l *words.Language) (answerView, error) {
	a := answerView{l.Say("summary.enough"), l.Say("summary.too-little"), "#rooms"}
	most := time.Duration(-1)
	for _, id := range s.o.House.Rooms() {
		snap := s.o.House.Snapshot(id)
		if snap == nil {
			continue
		}
		kinds, err := s.o.Capacity(ctx, id)
		if err != nil {
			return a, err
		}
		for i := range kinds {
			k := &kinds[i]
			if len(k.Answers) == 0 {
				continue
			}
			best, gain := bestCase(k)
			if gain <= most {
				continue
			}
			most, a.Link, a.Says = gain, "/manager"+roomPath(id)+"/enough", l.Say("summary.is-enough")
			if best != nil {
				a.Says = l.Say("summary.helps", "room", snap.Name, "case", caseWords(l, k, best), "from", waitText(l, k.Answers[0].All.Mean), "to", waitText(l, best.All.Mean))
			}
		}
	}
	return a, nil
}

// bestCase is what shortens the mean wait the most, and by how much; none and
// nothing where it is not worth a machine, or may be chance.
func bestCase(c *usage.Capacity) (*enough.Answer, time.Duration) {
	as := &c.Answers[0]
	best, gain := 0, time.Duration(0)
	for i := range c.Answers {
		if g := as.All.Mean - c.Answers[i].All.Mean; g > gain {
			best, gain = i, g
		}
	}
	if gain < 2*time.Minute || gain < as.Off {
		return nil, 0
	}
	return &c.Answers[best], gain
}
