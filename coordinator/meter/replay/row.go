package replay

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"drumturn/coordinator/meter"
)

// columns says in which column, from 0, each value is; -1 for none.
type columns struct{ time, watts, wh int }

// usual are the columns of a recording without a header.
var usual = columns{time: 0, watts: 1, wh: 2}

// columnNames are what a header may call them, in small letters.
var columnNames = map[string]string{
	"time": "time", "timestamp": "time", "datetime": "time",
	"watts": "watts", "watt": "watts", "w": "watts", "power": "watts",
	"wh": "wh", "energy": "wh",
}

// begin looks at the first line that says anything: it finds out what
// separates the fields, and whether the line is a header.
func (r *Reader) begin(line []byte) (isHeader bool, err error) {
	r.comma = ','
	for _, c := range []byte{';', '\t'} {
		if bytes.IndexByte(line, c) >= 0 {
			r.comma = c
			break
		}
	}
	rest := line
	if _, err := parseTime(r.field(&rest)); err == nil {
		return false, nil
	}
	found := columns{-1, -1, -1}
	known := 0
	for i := 0; line != nil; i++ {
		name := r.field(&line)
		if _, err := parseValue(name); err == nil && len(name) > 0 {
			return false, nil // a row whose time is wrong, as parse will say
		}
		known += found.set(strings.ToLower(string(name)), i)
	}
	switch {
	case known == 0:
		return true, nil // a header in other words: the usual order
	case found.time < 0 || found.watts < 0 && found.wh < 0:
		return true, fmt.Errorf("line %d: the header must name the columns time and watts (or wh)", r.line)
	}
	r.columns = found
	return true, nil
}

// set notes the column of a name, and returns 1 if the name is known.
func (c *columns) set(name string, i int) int {
	switch columnNames[name] {
	case "time":
		c.time = i
	case "watts":
		c.watts = i
	case "wh":
		c.wh = i
	default:
		return 0
	}
	return 1
}

// parse reads one row.
func (r *Reader) parse(line []byte) (Row, error) {
	row := Row{Watts: math.NaN(), Wh: math.NaN()}
	var err error
	for i := 0; line != nil; i++ {
		value := r.field(&line)
		switch i {
		case r.columns.time:
			row.Time, err = parseTime(value)
		case r.columns.watts:
			row.Watts, err = parseValue(value)
		case r.columns.wh:
			row.Wh, err = parseValue(value)
		}
		if err != nil {
			return row, r.wrong("%v", err)
		}
	}
	switch {
	case row.Time.IsZero():
		return row, r.wrong("it has no time")
	case row.Time.Before(r.last):
		return row, r.wrong("its time %s is before that of a row above; the rows must be in the order of time", row.Time.Format(time.RFC3339))
	}
	r.last = row.Time
	return row, nil
}

// field cuts the first field off a line, without quotes and spaces around it.
// The line is nil after the last.
func (r *Reader) field(line *[]byte) []byte {
	first := *line
	if cut := bytes.IndexByte(first, r.comma); cut < 0 {
		*line = nil
	} else {
		first, *line = first[:cut], first[cut+1:]
	}
	first = bytes.TrimSpace(first)
	if n := len(first); n >= 2 && first[0] == '"' && first[n-1] == '"' {
		first = bytes.TrimSpace(first[1 : n-1])
	}
	return first
}

// parseValue reads a number; an empty field and "nan" are no value.
func parseValue(b []byte) (float64, error) {
	if len(b) == 0 || bytes.EqualFold(b, []byte("nan")) {
		return math.NaN(), nil
	}
	for _, c := range b {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return math.NaN(), notNumber(b)
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	if err != nil {
		return math.NaN(), notNumber(b)
	}
	return v, nil
}

func notNumber(b []byte) error {
	return fmt.Errorf("%.40q is not a number such as 123.4", b)
}

// parseTime reads RFC 3339, the same with a space and without a zone (then it
// is UTC), or Unix seconds or milliseconds.
func parseTime(b []byte) (time.Time, error) {
	if t, ok := utcSeconds(b); ok {
		return t, nil
	}
	text := string(b)
	if t, err := time.Parse("2006-01-02 15:04:05", strings.Replace(text, "T", " ", 1)); err == nil {
		return t, nil
	}
	if t, err := time.Parse("2006-01-02 15:04:05Z07:00", text); err == nil {
		return t.UTC(), nil
	}
	if t, err := meter.ParseStamp(text); err == nil {
		return t, nil
	}
	if text == "" {
		return time.Time{}, errors.New("it has no time")
	}
	return time.Time{}, fmt.Errorf("%.40q is not a time such as 2026-01-02T15:04:05Z", b)
}

// utcSeconds reads the one form that long recordings consist of,
// 2006-01-02T15:04:05Z, ten times as fast as time.Parse and without memory.
func utcSeconds(b []byte) (t time.Time, ok bool) {
	if len(b) != 20 || b[4] != '-' || b[7] != '-' || b[10] != 'T' || b[13] != ':' || b[16] != ':' || b[19] != 'Z' {
		return t, false
	}
	year, month, day := digits(b[0:4]), digits(b[5:7]), digits(b[8:10])
	hour, minute, second := digits(b[11:13]), digits(b[14:16]), digits(b[17:19])
	if min(year, month, day, hour, minute, second) < 0 || hour > 23 || minute > 59 || second > 59 {
		return t, false
	}
	t = time.Date(year, time.Month(month), day, hour, minute, second, 0, time.UTC)
	// Date would take the 31st of a shorter month for the 1st of the next.
	return t, month >= 1 && month <= 12 && t.Day() == day
}

// digits is the number that b writes, or -1 if it is none.
func digits(b []byte) int {
	n := 0
	for _, c := range b {
		if c < '0' || c > '9' {
			return -1
		}
		n = n*10 + int(c-'0')
	}
	return n
}
