package config

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"drumturn/queue"
)

// Duration is a length of time in the building file: "90s", "10m", "1h30m", "7d".
type Duration time.Duration

// unitPattern is one number with its unit.
var unitPattern = regexp.MustCompile(`^(\d{1,9}) *(seconds?|sec|s|minutes?|min|m|hours?|h|days?|d) *`)

var unitLengths = map[byte]time.Duration{
	's': time.Second, 'm': time.Minute, 'h': time.Hour, 'd': 24 * time.Hour,
}

// UnmarshalText reads whole numbers with units, such as "1h 30 min". Longer
// than ten years is refused.
func (d *Duration) UnmarshalText(text []byte) error {
	const longest = 3660 * 24 * time.Hour
	rest, sum := strings.TrimSpace(string(text)), time.Duration(0)
	if rest == "" {
		return errors.New("it is empty")
	}
	for rest != "" {
		m := unitPattern.FindStringSubmatch(rest)
		if m == nil {
			return fmt.Errorf("%q is no length of time", text)
		}
		n, err := strconv.Atoi(m[1])
		unit := unitLengths[m[2][0]]
		if err != nil || time.Duration(n) > longest/unit || sum+time.Duration(n)*unit > longest {
			return fmt.Errorf("%q is longer than ten years", text)
		}
		sum += time.Duration(n) * unit
		rest = rest[len(m[0]):]
	}
	*d = Duration(sum)
	return nil
}

// String writes the duration as UnmarshalText reads it, to the second.
func (d Duration) String() string {
	if d == 0 {
		return "0s"
	}
	var b strings.Builder
	rest := time.Duration(d).Round(time.Second)
	if rest < 0 {
		b.WriteByte('-')
		rest = -rest
	}
	for _, unit := range []byte("dhms") {
		if n := rest / unitLengths[unit]; n > 0 {
			fmt.Fprintf(&b, "%d%c", n, unit)
			rest %= unitLengths[unit]
		}
	}
	return b.String()
}

// MarshalText is String.
func (d Duration) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

var clockPattern = regexp.MustCompile(`^([01]?\d|2[0-3]):([0-5]\d)$`)

// parseClock reads a time of day, "21:30". An empty text is none.
func parseClock(text string) (queue.Clock, error) {
	if text == "" {
		return queue.NoClock, nil
	}
	m := clockPattern.FindStringSubmatch(text)
	if m == nil {
		return queue.NoClock, fmt.Errorf("%q is no time of day", text)
	}
	hours, _ := strconv.Atoi(m[1])
	minutes, _ := strconv.Atoi(m[2])
	return queue.Clock(hours*60 + minutes), nil
}

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

var pricePattern = regexp.MustCompile(`^(\d{1,9})(?:\.(\d{1,6}))?$`)

// parseMicros reads a decimal number exactly, in millionths.
func parseMicros(text string) (int64, error) {
	m := pricePattern.FindStringSubmatch(text)
	if m == nil {
		return 0, fmt.Errorf("%q is no price", text)
	}
	micros, err := strconv.ParseInt(m[1]+(m[2] + "000000")[:6], 10, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is no price", text)
	}
	return micros, nil
}
