// Package tracestory is what the command replay does: it plays a recorded trace of
// one machine to a cycle engine, as a room's loop would, and tells what the engine
// came to know, and when. It tells it to people, as JSON lines, or as a drawing.
package tracestory

import (
	"fmt"
	"io"
	"path/filepath"
	"time"

	"drumturn/coordinator/cycle"
)

// Options say what is to be replayed, and how it is to be told.
type Options struct {
	// Trace is the path of the recording: CSV of time,watts[,wh], plain or gzip.
	Trace string
	// Kind is one of Kinds.
	Kind string
	// IdleBelowW and IdleFor set the rule for the end, where they are above zero.
	IdleBelowW float64
	IdleFor    time.Duration
	// JSON asks for one object a line instead of the story.
	JSON bool
	// SVG is the file that the drawing is written to; empty for none.
	SVG string
	// Complaints is told of rows that cannot be read and are left out, usually
	// os.Stderr; with nil the first such row is an error.
	Complaints io.Writer
	// New makes the engine.
	New func(cycle.Settings) cycle.Engine
}

// UsageError is a mistake in how the command was typed; it says what to type.
type UsageError string

// Error returns the sentence.
func (e UsageError) Error() string { return string(e) }

// Run replays a trace and writes its story to out. A mistake in the options comes
// back as a UsageError; any other error is about a file.
func Run(o Options, out io.Writer) error {
	set, err := o.settings()
	if err != nil {
		return err
	}
	src, err := openTrace(o.Trace, o.Complaints)
	if err != nil {
		return err
	}
	defer src.rows.Close()
	s := newStory(filepath.Base(o.Trace), o.Kind, o.SVG != "")
	var l listener = s
	var lines *jsonLines
	if o.JSON {
		lines = newJSONLines(out)
		l = both{s, lines}
	}
	if err := play(o.New(set), src.next, l); err != nil {
		return err
	}
	if s.readings == 0 && !o.JSON && o.SVG == "" {
		return UsageError(fmt.Sprintf("%s has no readings; a trace is CSV, first a line time,watts and then a line a reading, such as 2026-03-01T10:00:00Z,1.5", o.Trace))
	}
	return o.tell(s, lines, set, out)
}

// tell writes what was heard of the trace.
func (o Options) tell(s *story, lines *jsonLines, set cycle.Settings, out io.Writer) error {
	if o.SVG != "" {
		if err := writeSVG(o.SVG, s, set.SilentAfter); err != nil {
			return fmt.Errorf("draw %s: %w", o.SVG, err)
		}
	}
	if lines != nil {
		return lines.err
	}
	return writeText(out, s)
}

// Kinds are the kinds of machine that may be named.
var Kinds = []string{"washer", "dryer", "washer-dryer"}

func (o Options) settings() (cycle.Settings, error) {
	s := cycle.DefaultSettings()
	switch o.Kind {
	case "washer":
		s.Washer, s.Dryer = true, false
	case "dryer":
		s.Washer, s.Dryer = false, true
	case "washer-dryer":
		s.Washer, s.Dryer = true, true
	default:
		return s, UsageError(fmt.Sprintf("there is no kind of machine %q; add --kind washer, --kind dryer or --kind washer-dryer", o.Kind))
	}
	if o.Trace == "" {
		return s, UsageError("which trace? Type: drumturn replay TRACE.csv --kind " + o.Kind)
	}
	if o.IdleBelowW < 0 || o.IdleFor < 0 {
		return s, UsageError("the rule for the end needs watts and a duration above zero, such as --idle-below 3 --idle-for 3m")
	}
	if o.IdleBelowW > 0 {
		s.IdleBelowW = o.IdleBelowW
	}
	if o.IdleFor > 0 {
		s.IdleFor = o.IdleFor
	}
	return s, nil
}
