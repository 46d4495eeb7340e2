package coordinator

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// spanPattern is one number with its unit.
var spanPattern = regexp.MustCompile(`^(\d{1,9}) *(seconds?|sec|s|minutes?|min|m|hours?|h|days?|d) *`)

var spanUnits = map[byte]time.Duration{'s': time.Second, 'm': time.Minute, 'h': time.Hour, 'd': 24 * time.Hour}

// ParseSpan reads a length of time as people write it in house rules: whole
// numbers with units, such as "90s", "10m", "1h 30 min", "7d". Longer than ten
// years is refused.
func ParseSpan(text string) (time.Duration, error) {
	const longest = 3660 * 24 * time.Hour
	rest, sum := strings.TrimSpace(text), time.Duration(0)
	if rest == "" {
		return 0, errors.New("it is empty")
	}
	for rest != "" {
		m := spanPattern.FindStringSubmatch(rest)
		if m == nil {
			return 0, fmt.Errorf("%q is no length of time", text)
		}
		n, err := strconv.Atoi(m[1])
		unit := spanUnits[m[2][0]]
		if err != nil || time.Duration(n) > longest/unit || sum+time.Duration(n)*unit > longest {
			return 0, fmt.Errorf("%q is longer than ten years", text)
		}
		sum += time.Duration(n) * unit
		rest = rest[len(m[0]):]
	}
	return sum, nil
}

// SpanText writes a length of time as ParseSpan reads it, to the second.
func SpanText(d time.Duration) string {
	if d == 0 {
		return "0s"
	}
	var b strings.Builder
	rest := d.Round(time.Second)
	if rest < 0 {
		b.WriteByte('-')
		rest = -rest
	}
	for _, unit := range []byte("dhms") {
		if n := rest / spanUnits[unit]; n > 0 {
			fmt.Fprintf(&b, "%d%c", n, unit)
			rest %= spanUnits[unit]
		}
	}
	return b.String()
}
