package score

import (
	"bufio"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"drumturn/coordinator/cycle"
)

// readTrace reads a recording: header "time,watts", then an RFC 3339 time and
// watts per line, plain or gzip, in time order. A register column is not used.
func readTrace(path string) ([]cycle.Reading, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("trace: %w", err)
	}
	defer f.Close()
	var in io.Reader = bufio.NewReaderSize(f, 1<<16)
	if strings.HasSuffix(path, ".gz") {
		z, err := gzip.NewReader(in)
		if err != nil {
			return nil, fmt.Errorf("trace %s: not gzip although its name ends in .gz: %w", path, err)
		}
		defer z.Close()
		in = z
	}
	rs, err := parseTrace(in)
	if err != nil {
		return nil, fmt.Errorf("trace %s: %w", path, err)
	}
	return rs, nil
}

// parseTrace reads the lines of a recording; errors name the line.
func parseTrace(in io.Reader) ([]cycle.Reading, error) {
	var out []cycle.Reading
	lines := bufio.NewScanner(in)
	for n := 1; lines.Scan(); n++ {
		line := lines.Text()
		if n == 1 {
			if !strings.HasPrefix(line, "time,watts") {
				return nil, fmt.Errorf("line 1 is %q: a recording begins with the header time,watts", line)
			}
			continue
		}
		r, err := parseReading(line)
		if err != nil {
			return nil, fmt.Errorf("line %d %q: %w", n, line, err)
		}
		if len(out) > 0 && !r.At.After(out[len(out)-1].At) {
			return nil, fmt.Errorf("line %d: %s is not later than the line before; sort the recording by time", n, r.At.Format(time.RFC3339))
		}
		out = append(out, r)
	}
	if err := lines.Err(); err != nil {
		return nil, err
	}
	if len(out) == 0 {
		return nil, errors.New("no readings in it")
	}
	return out, nil
}

func parseReading(line string) (cycle.Reading, error) {
	stamp, rest, ok := strings.Cut(line, ",")
	if !ok {
		return cycle.Reading{}, errors.New("want time,watts")
	}
	at, err := time.Parse(time.RFC3339, stamp)
	if err != nil {
		return cycle.Reading{}, errors.New("the time is not RFC 3339, such as 2025-02-03T18:30:00Z")
	}
	watts, _, _ := strings.Cut(rest, ",")
	w, err := strconv.ParseFloat(watts, 64)
	if err != nil {
		return cycle.Reading{}, errors.New("the watts are not a number")
	}
	return cycle.Power(at.UTC(), w), nil
}
