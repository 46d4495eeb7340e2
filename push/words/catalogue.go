package words

import (
	"maps"
	"slices"

	"golang.org/x/text/feature/plural"
)

// Has reports whether the catalogue has a message.
func (l *Language) Has(key string) bool { _, ok := l.messages[key]; return ok }

// Keys lists every message's key, sorted.
func (l *Language) Keys() []string { return slices.Sorted(maps.Keys(l.messages)) }

// Counts reports whether a message depends on a number.
func (l *Language) Counts(key string) bool { return len(l.messages[key]) > 1 }

// Placeholders lists what a message has to be given, in its order; {n} of a
// message that counts is given with the number.
func (l *Language) Placeholders(key string) []string {
	var out []string
	for _, p := range l.messages[key][plural.Other] {
		if p.name != "" && !slices.Contains(out, p.name) {
			out = append(out, p.name)
		}
	}
	return out
}

// Text is a message without anything put in, for those that read the catalogue.
func (l *Language) Text(key string) string {
	text := ""
	for _, p := range l.messages[key][plural.Other] {
		if p.name != "" {
			text += "{" + p.name + "}"
		}
		text += p.text
	}
	return text
}
