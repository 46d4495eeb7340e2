package ui

import (
	"fmt"
	"testing"
	"time"
)

// TestGuessesAtOneAccount: the more were wrong, the longer the next has to wait; in
// a month of trying at every chance there are few.
func TestGuessesAtOneAccount(t *testing.T) {
	b, now := newBackoff(), noon
	taken := 0
	for ; now.Before(noon.AddDate(0, 0, 30)); now = now.Add(time.Second) {
		if b.guess("ada", now) == 0 {
			taken++
		}
	}
	// 30 days of 10 minutes are 4320; the first waits are shorter.
	if taken < 4320 || taken > 4340 {
		t.Errorf("%d guesses in a month", taken)
	}
	if b.guess("ada", now) == 0 || b.guess("ben", now) != 0 {
		t.Error("guesses at one account count for another, or not at all")
	}
	b.right("ada")
	for i := range freeGuesses + 1 {
		if wait := b.guess("ada", now); (wait > 0) != (i == freeGuesses) {
			t.Errorf("guess %d has to wait %s", i, wait)
		}
	}
	if wait := b.guess("ada", now); wait != firstWait {
		t.Errorf("the first wait is %s", wait)
	}
	if b.guess("ada", now.Add(guessesEnd)) != 0 {
		t.Error("yesterday's mistakes count")
	}
}

func TestBackoffIsBounded(t *testing.T) {
	b := newBackoff()
	for i := range 5 * mostAccounts {
		for range freeGuesses {
			b.guess(fmt.Sprint("account ", i), noon)
		}
	}
	if len(b.of) > mostAccounts {
		t.Errorf("%d accounts are remembered", len(b.of))
	}
}
