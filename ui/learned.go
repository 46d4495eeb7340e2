package ui

import (
	"drumturn/coordinator/cycle"
	"drumturn/push/words"
)

// programmesShown is how many programmes of a machine the manager is shown.
const programmesShown = 6

// learnedLines says in words what was learned of a machine's power.
func learnedLines(k *cycle.Knowledge, sc *scene) []string {
	if k == nil {
		return nil
	}
	l := sc.tell().lang
	if k.Cycles == 0 {
		return []string{l.Say("learned.none")}
	}
	lines := []string{l.Count("learned.cycles", k.Cycles)}
	if k.WorkW > 0 {
		lines = append(lines, levelsLine(k, l))
	}
	for i, p := range k.Programmes {
		if i == programmesShown {
			lines = append(lines, l.Count("learned.rarer", len(k.Programmes)-i))
			break
		}
		lines = append(lines, l.Count("learned.programme", p.Runs, "span", l.Span(p.Length), "energy", l.KWh(p.Wh)))
	}
	if !k.Changed.IsZero() {
		lines = append(lines, l.Say("learned.changed", "at", sc.tell().at(k.Changed)))
	}
	return lines
}

// levelsLine says from where the machine works and heats, and what it draws when done.
func levelsLine(k *cycle.Knowledge, l *words.Language) string {
	key := "learned.work"
	if k.HeatW > 0 {
		key += "-heat"
	}
	if k.GlowW > 0 {
		key += "-glow"
	}
	return l.Say(key, "work", l.Watts(k.WorkW), "heat", l.Watts(k.HeatW), "glow", l.Watts(k.GlowW))
}
