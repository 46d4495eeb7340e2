package queue

import (
	"fmt"
	"strings"
)

// nameOf returns names[i], or "?" for a value that has no word.
func nameOf(names []string, i int) string {
	if i < 0 || i >= len(names) || names[i] == "" {
		return "?"
	}
	return names[i]
}

// valueOf finds word in names. The error says what it is and lists the words
// that would do.
func valueOf(what string, names []string, word string) (int, error) {
	known := make([]string, 0, len(names))
	for i, name := range names {
		if name == "" {
			continue
		}
		if name == word {
			return i, nil
		}
		known = append(known, name)
	}
	return 0, fmt.Errorf("%q is no %s: use one of %s", word, what, strings.Join(known, ", "))
}
