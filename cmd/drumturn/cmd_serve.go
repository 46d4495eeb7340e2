package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"strings"

	"drumturn/config"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/meter/sim"
	"drumturn/coordinator/usage"
)

// fileArgument is the building file that a command is about.
type fileArgument struct {
	File string `arg:"" optional:"" default:"building.toml" help:"The building file; building.toml unless another is named."`
}

// load reads the building file; warnings go to w.
func (f fileArgument) load(w io.Writer) (*config.File, error) {
	file, err := config.Load(f.File, config.Options{
		CheckSchedule: usage.CheckSchedule, SimMachines: sim.Models(), SimMeters: sim.Meters(),
		Languages: languageCodes(),
	})
	if err != nil {
		return nil, usageError{err}
	}
	for _, p := range file.Warnings {
		fmt.Fprintln(w, p)
	}
	return file, nil
}

// engine is the cycle engine that a machine is watched by: the learning one,
// unless somebody has set the rule for its end by hand.
func engine(s cycle.Settings) cycle.Engine {
	plain := cycle.DefaultSettings()
	if s.IdleBelowW != plain.IdleBelowW || s.IdleFor != plain.IdleFor {
		return cycle.NewFixed(s)
	}
	return cycle.New(s)
}

// serveCommand runs a building.
type serveCommand struct {
	fileArgument
	Verbose bool `help:"Log details."`
}

// Run runs until a signal.
func (c *serveCommand) Run(ctx context.Context, s streams) error {
	file, err := c.load(s.err)
	if err != nil {
		return err
	}
	level := slog.LevelInfo
	if c.Verbose {
		level = slog.LevelDebug
	}
	log := newLog(s.err, level)
	a, err := newApp(ctx, setup{file: file, clock: loop.Wall{}, log: log, engine: engine})
	if err != nil {
		return err
	}
	defer a.close()
	fmt.Fprintf(s.out, "%s: pages at %s (listening at %s)\n", file.Building.Name, a.publicURL(), a.address())
	if a.firstLink != "" {
		fmt.Fprintf(s.out, "Building manager: open this once, within this run, and choose a passphrase:\n  %s%s\n", strings.TrimSuffix(a.publicURL(), "/"), a.firstLink)
	}
	return a.run(ctx)
}
