package config

import (
	"slices"
	"strings"
)

// nearest finds the known word that was most likely meant, or "".
func nearest(word string, known []string) string {
	best, fewest := "", max(2, len(word)/4)+1
	for _, k := range known {
		if d := edits(strings.ToLower(word), k); d < fewest && d*2 < max(len(word), len(k)) {
			best, fewest = k, d
		}
	}
	return best
}

// edits counts the insertions, deletions, replacements and swaps of
// neighbouring characters that lead from a to b (optimal string alignment).
// Only words of usual length are looked at; others are far apart.
func edits(a, b string) int {
	const usual = 64
	s, t := []rune(a), []rune(b)
	if len(s) > usual || len(t) > usual {
		return usual
	}
	var before, row []int
	next := make([]int, len(t)+1)
	for j := range next {
		next[j] = j
	}
	for i := range s {
		before, row, next = row, next, make([]int, len(t)+1)
		next[0] = i + 1
		for j := range t {
			change := 1
			if s[i] == t[j] {
				change = 0
			}
			next[j+1] = min(row[j+1]+1, next[j]+1, row[j]+change)
			if i > 0 && j > 0 && s[i] == t[j-1] && s[i-1] == t[j] {
				next[j+1] = min(next[j+1], before[j-1]+1)
			}
		}
	}
	return next[len(t)]
}

// didYouMean is the advice for a word that is not one of known.
func didYouMean(word string, known []string) string {
	if near := nearest(word, known); near != "" {
		return "did you mean " + near + "?"
	}
	if len(known) == 0 {
		return "remove it"
	}
	sorted := slices.Sorted(slices.Values(known))
	return "use one of " + strings.Join(sorted, ", ")
}
