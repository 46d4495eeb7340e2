package tracestory

import (
	"errors"
	"fmt"
	"io"
	"os"

	"drumturn/coordinator/cycle"
	"drumturn/coordinator/meter/replay"
)

// mostComplaints is how many rows that cannot be read are reported one by one.
const mostComplaints = 10

// source reads a recording.
type source struct {
	path string
	rows *replay.Reader
	// complain is told of rows that cannot be read; with nil the first one ends it all.
	complain io.Writer
	bad      int
}

func openTrace(path string, complain io.Writer) (*source, error) {
	rows, err := replay.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, UsageError(fmt.Sprintf("there is no file %s; give the path of a recording, CSV of time,watts", path))
	}
	if err != nil {
		return nil, err
	}
	return &source{path: path, rows: rows, complain: complain}, nil
}

// next returns io.EOF after the last reading. Rows that cannot be read are
// reported and left out.
func (s *source) next() (cycle.Reading, error) {
	for {
		row, err := s.rows.Next()
		var wrong *replay.RowError
		switch {
		case err == nil:
			return cycle.Reading{At: row.Time, Watts: row.Watts, Wh: row.Wh}, nil
		case errors.Is(err, io.EOF):
			s.sumUp()
			return cycle.Reading{}, io.EOF
		case !errors.As(err, &wrong) || s.complain == nil:
			return cycle.Reading{}, fmt.Errorf("%s: %w", s.path, err)
		}
		if s.bad++; s.bad <= mostComplaints {
			fmt.Fprintf(s.complain, "%s: %v; the row is left out\n", s.path, err)
		}
	}
}

// sumUp reports how many rows were left out, where that was not said one by one.
func (s *source) sumUp() {
	if s.bad > mostComplaints {
		fmt.Fprintf(s.complain, "%s: %s could not be read in all\n", s.path, count(s.bad, "row", "rows"))
	}
}
