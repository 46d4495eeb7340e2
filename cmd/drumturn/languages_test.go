package main

import (
	"slices"
	"testing"

	"drumturn/config"
	"drumturn/push/words"
)

// TestTheFileKnowsEveryLanguage that the catalogue has.
func TestTheFileKnowsEveryLanguage(t *testing.T) {
	var codes []string
	for _, l := range words.All() {
		codes = append(codes, l.Code())
	}
	if got := config.Languages(); !slices.Equal(got, codes) {
		t.Errorf("the building file takes %v, the catalogue has %v", got, codes)
	}
}
