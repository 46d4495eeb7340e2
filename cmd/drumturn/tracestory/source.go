package tracestory

import (
	"bufio"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"drumturn/coordinator/cycle"
)

// source reads a recording.
type source struct {
	path  string
	file  *os.File
	rows  *csv.Reader
	hasWh bool
}

func openTrace(path string) (*source, error) {
	file, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, UsageError(fmt.Sprintf("there is no file %s; give the path of a recording, CSV of time,watts", path))
	}
	if err != nil {
		return nil, err
	}
	s := &source{path: path, file: file}
	if err := s.begin(); err != nil {
		file.Close()
		return nil, err
	}
	return s, nil
}

func (s *source) close() error { return s.file.Close() }

// begin finds out about compression and reads the header.
func (s *source) begin() error {
	buffered := bufio.NewReaderSize(s.file, 1<<16)
	var in io.Reader = buffered
	if magic, _ := buffered.Peek(2); len(magic) == 2 && magic[0] == 0x1f && magic[1] == 0x8b {
		unzipped, err := gzip.NewReader(buffered)
		if err != nil {
			return fmt.Errorf("%s: %w", s.path, err)
		}
		in = unzipped
	}
	s.rows = csv.NewReader(in)
	s.rows.ReuseRecord = true
	head, err := s.rows.Read()
	if err != nil {
		return fmt.Errorf("%s: no header; the first line must be time,watts or time,watts,wh", s.path)
	}
	switch strings.ToLower(strings.Join(head, ",")) {
	case "time,watts":
	case "time,watts,wh":
		s.hasWh = true
	default:
		return fmt.Errorf("%s line 1: the header is %q; it must be time,watts or time,watts,wh", s.path, strings.Join(head, ","))
	}
	return nil
}

// next returns io.EOF after the last reading.
func (s *source) next() (cycle.Reading, error) {
	row, err := s.rows.Read()
	if err != nil {
		return cycle.Reading{}, err
	}
	r := cycle.Reading{Wh: math.NaN()}
	if r.At, err = time.Parse(time.RFC3339, row[0]); err != nil {
		return r, s.wrong(row[0], "a time such as 2026-01-31T18:00:00Z")
	}
	if r.Watts, err = number(row[1]); err != nil {
		return r, s.wrong(row[1], "a number of watts")
	}
	if s.hasWh {
		if r.Wh, err = number(row[2]); err != nil {
			return r, s.wrong(row[2], "a number of watt-hours")
		}
	}
	return r, nil
}

func number(text string) (float64, error) {
	if text == "" {
		return math.NaN(), nil
	}
	return strconv.ParseFloat(text, 64)
}

func (s *source) wrong(text, want string) error {
	at, _ := s.rows.FieldPos(0)
	return fmt.Errorf("%s line %d: %q is not %s", s.path, at, text, want)
}
