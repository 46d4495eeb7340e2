// Command drumturn says whose turn it is at which drum: it watches the meters
// of a shared laundry room's washers and dryers, runs the queue, tells people on
// their phones, and shows the building manager how the room is used.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // zones on machines that have none

	"github.com/alecthomas/kong"
)

// exitUsage is the exit code for errors of use.
const exitUsage = 2

// commands are what drumturn can be told to do.
type commands struct {
	Demo    demoCommand    `cmd:"" help:"Show everything with an invented building: no file, no meters, nothing to set up."`
	Serve   serveCommand   `cmd:"" help:"Run the building that a building file describes."`
	Init    initCommand    `cmd:"" help:"Write a commented building file to start from."`
	Check   checkCommand   `cmd:"" help:"Check a building file, and whether notices can work here."`
	Replay  replayCommand  `cmd:"" help:"Tell the story of a recorded power trace."`
	Score   scoreCommand   `cmd:"" help:"Measure the cycle detection against labelled traces."`
	Link    linkCommand    `cmd:"" help:"Print a one-time link that makes a manager, when nobody can sign in any more."`
	Rules   rulesCommand   `cmd:"" help:"Write the house rules in force to a file, or put those of a file into force."`
	Restore restoreCommand `cmd:"" help:"Put a backup into the place of the store and the keys, while the program is stopped."`
	Backup  backupCommand  `cmd:"" help:"Copy the store, keys included, into a folder."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// streams are where a command writes.
type streams struct {
	out, err io.Writer
}

// usageError is an error of use: what to type instead is part of its text.
type usageError struct{ error }

// Unwrap lets errors.Is look inside.
func (e usageError) Unwrap() error { return e.error }

// run parses the arguments and runs the command; it returns the exit code.
func run(ctx context.Context, args []string, out, errOut io.Writer) int {
	var cli commands
	exited := -1
	parser, err := kong.New(&cli,
		kong.Name("drumturn"),
		kong.Description("Whose turn it is at which drum: the shared laundry room, looked after."),
		kong.Writers(out, errOut),
		kong.Exit(func(code int) { exited = code }),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(streams{out, errOut}),
	)
	if err != nil {
		fmt.Fprintln(errOut, "drumturn:", err)
		return 1
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if exited >= 0 {
		return exited
	}
	if err != nil {
		fmt.Fprintf(errOut, "drumturn: %v\nType \"drumturn --help\" for the commands, or \"drumturn COMMAND --help\" for one.\n", err)
		return exitUsage
	}
	return exitCode(parsed.Run(), errOut)
}

// exitCode says what went wrong, and how a shell is told.
func exitCode(err error, errOut io.Writer) int {
	var usage usageError
	switch {
	case err == nil || errors.Is(err, context.Canceled):
		return 0
	case errors.As(err, &usage):
		fmt.Fprintln(errOut, "drumturn:", err)
		return exitUsage
	default:
		fmt.Fprintln(errOut, "drumturn:", err)
		return 1
	}
}
