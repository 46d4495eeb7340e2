package usage

import (
	"math"
	"strconv"
	"time"
)

// none is a cell without a value.
var none Cell

// Word is a cell with a text.
func Word(text string) Cell { return Cell{Text: text} }

// Instant is a cell with an instant as RFC 3339 has it, in a zone's local time;
// none for the zero time.
func Instant(t time.Time, zone *time.Location) Cell {
	if t.IsZero() {
		return none
	}
	return Word(t.In(zone).Format(time.RFC3339))
}

// Count is a cell with a whole number.
func Count(n int) Cell { return Cell{strconv.Itoa(n), float64(n)} }

// Fixed is a cell with a number written with so many decimals; none for what is
// no number.
func Fixed(v float64, decimals int) Cell {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return none
	}
	return Cell{strconv.FormatFloat(v, 'f', decimals, 64), v}
}
