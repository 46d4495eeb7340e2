package replay

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"drumturn/coordinator/meter"
)

// Track is the recording of one meter.
type Track struct {
	Meter string
	// Path is the file.
	Path string
}

// Options set up a Driver. Exactly one of Follow and Clock is needed.
type Options struct {
	Tracks []Track
	// Follow moves the clock of the rooms to the instant of each reading, before
	// it is delivered: the rooms live in the recording's time, as fast as they can.
	Follow func(now time.Time)
	// Clock lets the recording begin now and go on at its own speed: each reading
	// is delivered, with its new time, once the clock has reached it.
	Clock meter.Clock
	// Repeat begins again at the end, with Clock only.
	Repeat bool
}

// Driver plays the recordings of one meter or several, all in one order of time.
type Driver struct {
	opts   Options
	meters []string
}

var _ meter.Driver = (*Driver)(nil)

// New checks the options; the files are opened by Run.
func New(opts Options) (*Driver, error) {
	d := &Driver{opts: opts}
	switch {
	case len(opts.Tracks) == 0:
		return nil, errors.New("replay: no recording is named")
	case (opts.Follow == nil) == (opts.Clock == nil):
		return nil, errors.New("replay: it needs either a clock to wait for, or one to move")
	case opts.Repeat && opts.Clock == nil:
		return nil, errors.New("replay: time cannot begin again; only a recording that is played as live can be repeated")
	}
	seen := map[string]bool{}
	for _, t := range opts.Tracks {
		if t.Meter == "" || seen[t.Meter] {
			return nil, fmt.Errorf("replay: meter %q has no name, or is there twice", t.Meter)
		}
		seen[t.Meter] = true
		d.meters = append(d.meters, t.Meter)
	}
	return d, nil
}

// Meters names the meters.
func (d *Driver) Meters() []string { return d.meters }

// Run plays the recordings once, or again and again, or until ctx ends. A row
// that cannot be read is reported and left out.
func (d *Driver) Run(ctx context.Context, sink meter.Sink) error {
	var last time.Time // of the newest reading that was played
	for {
		end, err := d.play(ctx, sink, last)
		played := end.After(last)
		last = end
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil:
			return err
		case !d.opts.Repeat:
			return nil
		case !played:
			return meter.Permanent(errors.New("replay: the recording has no reading in it, so it cannot be repeated"))
		}
	}
}

// play plays all tracks once, after the instant after, and returns the time
// of the last reading that it played, or after itself if there was none.
func (d *Driver) play(ctx context.Context, sink meter.Sink, after time.Time) (last time.Time, err error) {
	last = after
	tracks, err := d.open(sink)
	defer closeAll(tracks)
	if err != nil {
		return last, err
	}
	shift := d.shift(earliest(tracks), after)
	for {
		t := earliest(tracks)
		if t == nil {
			return last, nil
		}
		at := t.row.Time.Add(shift)
		if !d.reach(ctx, at) {
			return last, nil
		}
		if err := deliver(ctx, sink, t.meter, meter.Sample{Watts: t.row.Watts, Wh: t.row.Wh, Stamp: at}); err != nil {
			return last, err
		}
		last = at
		if err := t.advance(sink); err != nil {
			return last, err
		}
	}
}

// shift is how much later than recorded the readings are played: so that the
// first comes now, or a second after the end of the round before.
func (d *Driver) shift(first *playing, after time.Time) time.Duration {
	if d.opts.Clock == nil || first == nil {
		return 0
	}
	begin := d.opts.Clock.Now()
	if next := after.Add(time.Second); begin.Before(next) {
		begin = next
	}
	return begin.Sub(first.row.Time)
}

// reach moves the clock to at, or waits until it is there; false when ctx ended.
func (d *Driver) reach(ctx context.Context, at time.Time) bool {
	if ctx.Err() != nil {
		return false
	}
	if d.opts.Follow != nil {
		d.opts.Follow(at)
		return true
	}
	reached, release := d.opts.Clock.At(at)
	defer release()
	select {
	case <-reached:
		return true
	case <-ctx.Done():
		return false
	}
}

// retryAfter is the pause before a full inbox is tried again.
const retryAfter = 10 * time.Millisecond

// deliver hands over a reading. A refusal is known beside the meter and costs
// that reading only; a full inbox is waited for, as a recording can wait.
func deliver(ctx context.Context, sink meter.Sink, name string, s meter.Sample) error {
	for {
		err := sink.Deliver(ctx, name, s)
		var refusal *meter.Refusal
		switch {
		case err == nil || errors.As(err, &refusal):
			return nil
		case !errors.Is(err, meter.ErrBusy):
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(retryAfter):
		}
	}
}

// playing is a track under way, with the row that comes next.
type playing struct {
	meter  string
	path   string
	reader *Reader
	row    Row
	over   bool
}

// open opens all tracks at their first row.
func (d *Driver) open(sink meter.Sink) (tracks []*playing, err error) {
	for _, t := range d.opts.Tracks {
		reader, err := Open(t.Path)
		if err != nil {
			return tracks, err
		}
		p := &playing{meter: t.Meter, path: t.Path, reader: reader}
		tracks = append(tracks, p)
		if err := p.advance(sink); err != nil {
			return tracks, err
		}
	}
	return tracks, nil
}

func closeAll(tracks []*playing) {
	for _, t := range tracks {
		_ = t.reader.Close()
	}
}

// earliest is the track whose next row comes first; nil when all are over.
func earliest(tracks []*playing) *playing {
	var first *playing
	for _, t := range tracks {
		if !t.over && (first == nil || t.row.Time.Before(first.row.Time)) {
			first = t
		}
	}
	return first
}

// advance goes to the next row that can be read.
func (p *playing) advance(sink meter.Sink) error {
	for {
		row, err := p.reader.Next()
		var bad *RowError
		switch {
		case err == nil:
			p.row = row
			return nil
		case errors.Is(err, io.EOF):
			p.over = true
			return nil
		case errors.As(err, &bad):
			sink.Fail(p.meter, fmt.Errorf("recording %s: %w", p.path, err))
		default:
			return meter.Permanent(fmt.Errorf("recording %s: %w", p.path, err))
		}
	}
}
