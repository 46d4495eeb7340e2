// Package replay reads recordings of meters, and plays them as a driver.
//
// A recording is a CSV file, plain or gzip: time,watts[,wh], one reading a row.
package replay

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"time"
)

// Row is one reading of a recording.
type Row struct {
	// Time is when it was recorded, UTC.
	Time time.Time
	// Watts is the power, W; NaN when the row has none.
	Watts float64
	// Wh is the meter's register, Wh; NaN when the row has none.
	Wh float64
}

// RowError says what is wrong with one row. The rows after it can still be read.
type RowError struct {
	// Line is counted from 1.
	Line int
	Text string
}

// Error names the line.
func (e *RowError) Error() string { return fmt.Sprintf("line %d: %s", e.Line, e.Text) }

// maxLine is the longest line that is read, in bytes.
const maxLine = 4096

// Reader reads a recording row by row.
type Reader struct {
	in      *bufio.Reader
	closers []io.Closer
	columns columns
	comma   byte // what separates the fields; 0 before the first line
	line    int
	last    time.Time
}

// Open opens a recording. Close must be called at the end.
func Open(path string) (*Reader, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("recording: %w", err)
	}
	r, err := NewReader(file)
	if err != nil {
		_ = file.Close()
		return nil, fmt.Errorf("recording %s: %w", path, err)
	}
	r.closers = append(r.closers, file)
	return r, nil
}

// NewReader reads a recording from r, and finds out by itself whether it is gzip.
func NewReader(r io.Reader) (*Reader, error) {
	in := bufio.NewReaderSize(r, 64<<10)
	out := &Reader{columns: usual}
	magic, err := in.Peek(2)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	if bytes.Equal(magic, []byte{0x1f, 0x8b}) {
		unzipped, err := gzip.NewReader(in)
		if err != nil {
			return nil, fmt.Errorf("it begins like a gzip file, but is none: %w", err)
		}
		out.closers = append(out.closers, unzipped)
		in = bufio.NewReaderSize(unzipped, 64<<10)
	}
	if bom, _ := in.Peek(3); bytes.Equal(bom, []byte("\xef\xbb\xbf")) {
		_, _ = in.Discard(3)
	}
	out.in = in
	return out, nil
}

// Close closes the file.
func (r *Reader) Close() error {
	var all []error
	for _, c := range r.closers {
		all = append(all, c.Close())
	}
	r.closers = nil
	return errors.Join(all...)
}

// Line is the number of the line that was read last, from 1.
func (r *Reader) Line() int { return r.line }

// Next reads the next row. At the end it returns io.EOF. A *RowError is about
// that row only: Next may be called again for the one after it. Any other error
// is the end of what can be read. Empty lines, lines that begin with #, and rows
// with a time but no value (the meter was not heard) are left out.
func (r *Reader) Next() (Row, error) {
	for {
		line, err := r.readLine()
		if err != nil {
			return Row{}, err
		}
		if len(line) == 0 || line[0] == '#' {
			continue
		}
		if r.comma == 0 {
			if isHeader, err := r.begin(line); err != nil {
				return Row{}, err
			} else if isHeader {
				continue
			}
		}
		row, err := r.parse(line)
		if err != nil {
			return Row{}, err
		}
		if math.IsNaN(row.Watts) && math.IsNaN(row.Wh) {
			continue
		}
		return row, nil
	}
}

// readLine returns the next line without its end and without spaces around it.
// The slice is valid until the next call.
func (r *Reader) readLine() ([]byte, error) {
	line, err := r.in.ReadSlice('\n')
	r.line++
	switch {
	case err == nil || errors.Is(err, io.EOF) && len(line) > 0:
	case errors.Is(err, io.EOF):
		return nil, io.EOF
	case errors.Is(err, bufio.ErrBufferFull):
		for errors.Is(err, bufio.ErrBufferFull) {
			_, err = r.in.ReadSlice('\n')
		}
		return nil, r.wrong("it is longer than %d bytes; is this a recording of one reading a line?", maxLine)
	case errors.Is(err, io.ErrUnexpectedEOF):
		return nil, fmt.Errorf("after line %d the file breaks off: it was not copied whole", r.line-1)
	default:
		return nil, fmt.Errorf("after line %d the file cannot be read: %w", r.line-1, err)
	}
	if len(line) > maxLine {
		return nil, r.wrong("it is longer than %d bytes; is this a recording of one reading a line?", maxLine)
	}
	return bytes.TrimSpace(line), nil
}

func (r *Reader) wrong(format string, args ...any) error {
	return &RowError{Line: r.line, Text: fmt.Sprintf(format, args...)}
}
