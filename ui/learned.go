package ui

import (
	"fmt"
	"math"
	"time"

	"drumturn/coordinator/cycle"
)

// programmesShown is how many programmes of a machine the manager is shown.
const programmesShown = 6

// learnedLines says in words what was learned of a machine's power.
func learnedLines(k *cycle.Knowledge, sc *scene) []string {
	if k == nil {
		return nil
	}
	if k.Cycles == 0 {
		return []string{"No whole cycle yet; until then its ends are told by a plain rule."}
	}
	lines := []string{fmt.Sprintf("%s seen.", countOf(k.Cycles, "whole cycle"))}
	if k.WorkW > 0 {
		line := fmt.Sprintf("It works from %s", watts(k.WorkW))
		if k.HeatW > 0 {
			line += fmt.Sprintf(", heats from %s", watts(k.HeatW))
		}
		if k.GlowW > 0 {
			line += fmt.Sprintf(", and draws %s when it is done", watts(k.GlowW))
		}
		lines = append(lines, line+".")
	}
	for i, p := range k.Programmes {
		if i == programmesShown {
			lines = append(lines, fmt.Sprintf("And %s.", countOf(len(k.Programmes)-i, "rarer programme")))
			break
		}
		lines = append(lines, fmt.Sprintf("A programme of %d min and %.2f kWh, run %s.", int(p.Length.Round(time.Minute)/time.Minute), p.Wh/1000, countOf(p.Runs, "time")))
	}
	if !k.Changed.IsZero() {
		lines = append(lines, fmt.Sprintf("What it draws changed for good, noticed %s.", sc.tell().at(k.Changed)))
	}
	return lines
}

// watts rounds to what a person reads.
func watts(w float64) string {
	if w < 10 {
		return fmt.Sprintf("%.1f W", w)
	}
	return fmt.Sprintf("%.0f W", math.Round(w))
}

// countOf is a number of things in words.
func countOf(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
