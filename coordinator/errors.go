package coordinator

import (
	"errors"
	"fmt"
	"strings"
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

// Error is a refusal that a person may read. Key names the sentence in the
// catalogue of languages; Text is that sentence in English, and Args are what was
// put into it: pairs of a placeholder's name and its value. Durations and times
// among them are worded by whoever shows the sentence.
type Error struct {
	Code Code
	Key  string
	Text string
	Args []any
}

// Error returns the English sentence.
func (e *Error) Error() string { return e.Text }

// Refuse makes an Error with an English sentence, in which {name} stands for the
// value behind "name" in args.
func Refuse(code Code, key, sentence string, args ...any) *Error {
	text := sentence
	for i := 0; i+1 < len(args); i += 2 {
		text = strings.ReplaceAll(text, fmt.Sprintf("{%v}", args[i]), fmt.Sprint(args[i+1]))
	}
	return &Error{Code: code, Key: key, Text: text, Args: args}
}

// Problem is one thing wrong with settings: where (a dotted path such as
// "ladder[2].after"), what is wrong, and what would be right.
type Problem struct {
	Path, Wrong, Right string
}

// ErrSequence is answered by Store.Commit for a set whose unit has moved on.
var ErrSequence = errors.New("the unit's sequence is not the expected one")
