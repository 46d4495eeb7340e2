package meter

import (
	"context"
	"errors"
	"fmt"
	"strings"
)

// Reason classes trouble: a Refusal, so that refusals can be counted, or a failure.
type Reason string

// The reasons.
const (
	// UnknownMeter: nobody wired a meter of that name, or not to this driver.
	UnknownMeter Reason = "unknown meter"
	// Malformed: the message cannot be read.
	Malformed Reason = "malformed"
	// Empty: the message can be read, but holds no reading.
	Empty Reason = "empty"
	// Implausible: no machine draws that.
	Implausible Reason = "implausible"
	// StampAhead: its time is more than MaxAhead in the future.
	StampAhead Reason = "time ahead"
	// StampUnset: its time is that of a clock that was never set.
	StampUnset Reason = "clock not set"
)

// Refusal says why a reading was not taken. Trying it again is of no use.
type Refusal struct {
	Meter  string
	Reason Reason
	// Text is a sentence for the person who set the meter up: what is wrong, and
	// how to mend it.
	Text string
}

// Error names the meter and gives the sentence.
func (r *Refusal) Error() string { return fmt.Sprintf("meter %q: %s", r.Meter, r.Text) }

// Refuse makes a Refusal with a formatted sentence.
func Refuse(meter string, reason Reason, format string, args ...any) *Refusal {
	return &Refusal{Meter: meter, Reason: reason, Text: fmt.Sprintf(format, args...)}
}

// The reasons of failures: nothing was refused, but something did not work.
const (
	WrongPassword Reason = "password"    // something signed in under its name with a wrong one
	WrongTopic    Reason = "topic"       // it publishes elsewhere than where it is listened for
	NotGranted    Reason = "not granted" // the broker does not let us read its topic
	NoConnection  Reason = "connection"  // its broker cannot be reached
	BadRequest    Reason = "request"     // what it posts is refused before it is read
	Busy          Reason = "busy"        // its room takes no more now
	Broken        Reason = "broken"      // anything else
)

// Reasons are all of them: of refusals, then of failures.
func Reasons() []Reason {
	return []Reason{
		UnknownMeter, Malformed, Empty, Implausible, StampAhead, StampUnset,
		WrongPassword, WrongTopic, NotGranted, NoConnection, BadRequest, Busy, Broken,
	}
}

// Word is the reason as one word, as the catalogue's keys have it.
func (r Reason) Word() string { return strings.ReplaceAll(string(r), " ", "-") }

// failure is an error of a known reason.
type failure struct {
	reason Reason
	error
}

func (f *failure) Unwrap() error { return f.error }

// Because gives an error a reason; its text stays.
func Because(r Reason, err error) error { return &failure{r, err} }

// ReasonOf is why an error happened, as far as it says.
func ReasonOf(err error) Reason {
	var refusal *Refusal
	var known *failure
	switch {
	case errors.As(err, &refusal):
		return refusal.Reason
	case errors.As(err, &known):
		return known.reason
	case errors.Is(err, ErrBusy), errors.Is(err, context.DeadlineExceeded):
		return Busy
	}
	return Broken
}
