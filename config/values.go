package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"drumturn/coordinator"
)

// Duration is a length of time in the building file: "90s", "10m", "1h30m", "7d".
type Duration time.Duration

// UnmarshalText reads whole numbers with units, such as "1h 30 min". Longer
// than ten years is refused.
func (d *Duration) UnmarshalText(text []byte) error {
	span, err := coordinator.ParseSpan(string(text))
	if err == nil {
		*d = Duration(span)
	}
	return err
}

// String writes the duration as UnmarshalText reads it, to the second.
func (d Duration) String() string { return coordinator.SpanText(time.Duration(d)) }

// MarshalText is String.
func (d Duration) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// parseShare reads a chance: "2 %", "0.02", or a bare number from 0 to 1.
func parseShare(text string) (float64, error) {
	number, percent := strings.CutSuffix(strings.TrimSpace(text), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is no share", text)
	}
	if percent {
		v /= 100
	}
	return v, nil
}

// parseMicros reads a decimal number exactly, in millionths. In a file the
// decimal mark is a point.
func parseMicros(text string) (int64, error) {
	if strings.ContainsAny(text, ", ") {
		return 0, fmt.Errorf("%q is no price", text)
	}
	return coordinator.ParseMicros(text)
}
