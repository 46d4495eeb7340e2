package main

import (
	"errors"
	"time"

	"drumturn/cmd/drumturn/score"
	"drumturn/cmd/drumturn/tracestory"
	"drumturn/coordinator/cycle"
)

// replayCommand tells the story of a recorded trace.
type replayCommand struct {
	Trace      string        `arg:"" help:"Recording: CSV of time,watts[,wh], plain or gzip."`
	Kind       string        `help:"What was recorded: washer, dryer or washer-dryer." default:"washer"`
	JSON       bool          `help:"One JSON object a line instead of the story."`
	SVG        string        `help:"Draw the power with the cycles marked into this file." placeholder:"FILE" type:"path"`
	IdleBelowW float64       `help:"Use a plain rule instead of learning: done below so many W." default:"3"`
	IdleFor    time.Duration `help:"Use a plain rule instead of learning: done when so long below." default:"3m"`
}

// Run prints the story.
func (c *replayCommand) Run(s streams) error {
	err := tracestory.Run(tracestory.Options{
		Trace: c.Trace, Kind: c.Kind, JSON: c.JSON, SVG: c.SVG, IdleBelowW: c.IdleBelowW, IdleFor: c.IdleFor, New: engine, Complaints: s.err,
	}, s.out)
	var misuse tracestory.UsageError
	if errors.As(err, &misuse) {
		return usageError{err}
	}
	return err
}

// scoreCommand measures the cycle detection.
type scoreCommand struct {
	Dir       string `arg:"" help:"Folder with labels.csv and its traces, or a folder of such folders." type:"path"`
	JSON      bool   `help:"One JSON object instead of tables."`
	Baseline  bool   `help:"Add the fixed rule and the last-run rule beside the engine."`
	Disturbed bool   `help:"Add disturbed copies of the traces: lost readings, slower meters, glows, stops."`
	Calibrate bool   `help:"Add how often an end is declared wrongly, with doubts of 20 to 2 %."`
	Plot      string `help:"Draw each cycle that went wrong into this folder." placeholder:"FOLDER" type:"path"`
}

// Run prints the figures.
func (c *scoreCommand) Run(s streams) error {
	return score.Run(score.Options{
		Dir: c.Dir, New: engine, Settings: cycle.DefaultSettings(), JSON: c.JSON, Baseline: c.Baseline, Plot: c.Plot,
		Disturbed: c.Disturbed, Calibrate: c.Calibrate,
	}, s.out)
}
