package coordinator

import (
	"errors"
	"fmt"
)

// Code classes an Error, so that pages can pick an HTTP status.
type Code uint8

// The codes.
const (
	// Invalid: the request itself makes no sense.
	Invalid Code = iota + 1
	// NotFound: what it names is not there (any more).
	NotFound
	// NotAllowed: not this person's to do.
	NotAllowed
	// Conflict: not possible in the present state.
	Conflict
	// OverLimit: the house rules say no.
	OverLimit
)

// Error is a refusal that a person may read. Key names the sentence for
// translation; Text is that sentence in English.
type Error struct {
	Code Code
	Key  string
	Text string
}

// Error returns the English sentence.
func (e *Error) Error() string { return e.Text }

// Refuse makes an Error with a formatted English sentence.
func Refuse(code Code, key, format string, args ...any) *Error {
	return &Error{Code: code, Key: key, Text: fmt.Sprintf(format, args...)}
}

// Problem is one thing wrong with settings: where (a dotted path such as
// "ladder[2].after"), what is wrong, and what would be right.
type Problem struct {
	Path, Wrong, Right string
}

// ErrSequence is answered by Store.Commit for a set whose unit has moved on.
var ErrSequence = errors.New("the unit's sequence is not the expected one")
