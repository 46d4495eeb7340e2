package coordinator

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// FactID names a stored fact within its unit. Ids are in the order in which the
// facts were stored, as a unit's now never goes back.
type FactID struct {
	At time.Time
	// N tells facts of one instant apart, and rises.
	N uint64
}

// StoredFact is a fact with its id.
type StoredFact struct {
	ID FactID
	Fact
}

// IsZero reports whether it names no fact; it is before all.
func (id FactID) IsZero() bool { return id.At.IsZero() && id.N == 0 }

// String is the id as other programs see it: "1780000000000000000-17", the
// instant in nanoseconds of Unix time, and N.
func (id FactID) String() string {
	if id.IsZero() {
		return ""
	}
	return fmt.Sprintf("%d-%d", id.At.UnixNano(), id.N)
}

// ParseFactID reads what String wrote. The error is a *Error.
func ParseFactID(text string) (FactID, error) {
	if text == "" {
		return FactID{}, nil
	}
	at, n, _ := strings.Cut(text, "-") // so that the instant cannot be below zero
	nanos, err := strconv.ParseInt(at, 10, 64)
	count, err2 := strconv.ParseUint(n, 10, 64)
	if err != nil || err2 != nil {
		return FactID{}, Refuse(Invalid, "fact.id", "“{id}” is no id of an event. Give one as it was received, such as 1780000000000000000-17.", "id", text)
	}
	return FactID{time.Unix(0, nanos).UTC(), count}, nil
}

// MarshalText writes String.
func (id FactID) MarshalText() ([]byte, error) { return []byte(id.String()), nil }

// UnmarshalText reads it.
func (id *FactID) UnmarshalText(text []byte) (err error) {
	*id, err = ParseFactID(string(text))
	return err
}
