package meter

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"
)

// stampAt reads the time at p: RFC 3339, or Unix seconds or milliseconds. A
// message without it has no stamp.
func stampAt(p Pointer, doc any) (time.Time, error) {
	node, ok := p.In(doc)
	if !ok || node == nil {
		return time.Time{}, nil
	}
	var text string
	switch node := node.(type) {
	case json.Number:
		text = node.String()
	case string:
		text = strings.TrimSpace(node)
	default:
		return time.Time{}, fmt.Errorf("at %q: it is %s; it must be RFC 3339 such as \"2026-01-02T15:04:05Z\", or Unix seconds or milliseconds", p.text, kindOf(node))
	}
	stamp, err := ParseStamp(text)
	if err != nil {
		return time.Time{}, fmt.Errorf("at %q: %w", p.text, err)
	}
	return stamp, nil
}

// millisFrom tells Unix milliseconds from seconds: as seconds it is the year
// 5138, as milliseconds 1973.
const millisFrom = 1e11

// ParseStamp reads a time as meters write it: RFC 3339, or Unix seconds (with
// or without a fraction) or milliseconds. The answer is in UTC.
func ParseStamp(s string) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t.UTC(), nil
	}
	v, err := parseNumber(s)
	if err != nil || math.Abs(v) >= 1e15 {
		return time.Time{}, fmt.Errorf("%s is not a time: it must be RFC 3339 such as \"2026-01-02T15:04:05Z\" (with its zone), or Unix seconds or milliseconds", excerpt([]byte(s)))
	}
	if math.Abs(v) >= millisFrom {
		return time.UnixMilli(int64(v)).UTC(), nil
	}
	whole, fraction := math.Modf(v)
	return time.Unix(int64(whole), int64(math.Round(fraction*1e6))*1e3).UTC(), nil
}
