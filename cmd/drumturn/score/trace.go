package score

import (
	"errors"
	"fmt"
	"io"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/coordinator/meter/replay"
)

// readTrace reads a whole recording. Unlike a replay, which skips what it cannot
// read, it refuses one with a bad row or out of time order: figures of half a
// recording would mislead.
func readTrace(path string) ([]cycle.Reading, error) {
	in, err := replay.Open(path)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	var out []cycle.Reading
	for {
		row, err := in.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("recording %s: %w", path, err)
		}
		if len(out) > 0 && !row.Time.After(out[len(out)-1].At) {
			return nil, fmt.Errorf("recording %s: line %d: %s is not later than the line before; sort the recording by time",
				path, in.Line(), row.Time.Format(time.RFC3339))
		}
		out = append(out, cycle.Reading{At: row.Time, Watts: row.Watts, Wh: row.Wh})
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("recording %s: no readings in it", path)
	}
	return out, nil
}
