package meter

import "fmt"

// Reason classes a Refusal, so that refusals can be counted.
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
