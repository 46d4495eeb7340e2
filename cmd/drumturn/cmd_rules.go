package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"drumturn/config"
	"drumturn/coordinator"
)

// rulesCommand moves house rules between the store, where they live, and files.
type rulesCommand struct {
	Export exportRulesCommand `cmd:"" help:"Write the house rules in force, as a building file has them."`
	Import importRulesCommand `cmd:"" help:"Put the house rules of a file into force."`
}

// exportRulesCommand writes a room's rules.
type exportRulesCommand struct {
	fileArgument
	Room string `help:"The room; may be left out where there is one only."`
	To   string `help:"File to write; empty: to the screen." type:"path"`
}

// Run writes them to the file, or to the screen.
func (c *exportRulesCommand) Run(ctx context.Context, s streams) error {
	file, room, err := loadRoom(&c.fileArgument, s, c.Room)
	if err != nil {
		return err
	}
	answer, err := askRules(ctx, file, rulesRequest{Room: room})
	if err != nil {
		return err
	}
	if c.To == "" {
		_, err = fmt.Fprint(s.out, answer.Text)
		return err
	}
	if err := writeWhole(c.To, []byte(answer.Text)); err != nil {
		return fmt.Errorf("the house rules were not written: %w; name another file, or make room", err)
	}
	fmt.Fprintf(s.out, "Wrote %s\n", c.To)
	return nil
}

// writeWhole writes a file whole or not at all: one that is there stays as it is
// when the disk is full.
func writeWhole(path string, data []byte) error {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return os.WriteFile(path, data, 0o644) // a device or a pipe has no beside
	}
	temp, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	_, err = temp.Write(data)
	if err := errors.Join(err, temp.Chmod(0o644), temp.Sync(), temp.Close()); err != nil {
		return err
	}
	return os.Rename(temp.Name(), path)
}

// importRulesCommand puts rules into force.
type importRulesCommand struct {
	From string `arg:"" help:"File with the section [rules]."`
	fileArgument
	Room string `help:"The room; may be left out where there is one only."`
	Look bool   `help:"Only say what would change."`
}

// Run says what changes, rule by rule.
func (c *importRulesCommand) Run(ctx context.Context, s streams) error {
	text, err := config.ReadRules(c.From)
	if err != nil {
		return usageError{err}
	}
	file, room, err := loadRoom(&c.fileArgument, s, c.Room)
	if err != nil {
		return err
	}
	if _, err := config.ParseRules(c.From, text); err != nil {
		return usageError{err}
	}
	answer, err := askRules(ctx, file, rulesRequest{Room: room, Text: string(text), Look: c.Look})
	if err != nil {
		return err
	}
	switch {
	case len(answer.Changes) == 0:
		fmt.Fprintln(s.out, "These house rules are in force already.")
	case c.Look:
		fmt.Fprintln(s.out, "This would change:")
	default:
		fmt.Fprintf(s.out, "Version %d of the house rules is in force. This has changed:\n", answer.Version)
	}
	for _, ch := range answer.Changes {
		fmt.Fprintf(s.out, "  %s: %s, was %s\n", ch.Path, orNone(ch.To), orNone(ch.From))
	}
	return nil
}

func orNone(value string) string {
	if value == "" {
		return "none"
	}
	return value
}

// loadRoom loads the building file and finds the room that is meant.
func loadRoom(f *fileArgument, s streams, name string) (*config.File, coordinator.RoomID, error) {
	file, err := f.load(s.err)
	if err != nil {
		return nil, "", err
	}
	for _, r := range file.Rooms {
		if string(r.ID) == name || name == "" && len(file.Rooms) == 1 {
			return file, r.ID, nil
		}
	}
	if name == "" {
		return nil, "", usageError{errors.New("the building has several rooms: say which, with --room NAME")}
	}
	return nil, "", usageError{fmt.Errorf("there is no room %q in the building file: use a name that stands behind [rooms.…]", name)}
}

// askRules asks the program that runs, or does it itself where none does.
func askRules(ctx context.Context, file *config.File, request rulesRequest) (rulesAnswer, error) {
	answer, err := askControl[rulesAnswer](ctx, file.Server.Data, "/rules", request)
	if errors.Is(err, errNotRunning) {
		path := filepath.Join(file.Server.Data, storeName)
		if _, gone := os.Stat(path); errors.Is(gone, fs.ErrNotExist) {
			return answer, usageError{fmt.Errorf("there is no store in %s yet; the first start takes the house rules from the building file", file.Server.Data)}
		}
		return offlineRules(ctx, file, path, request)
	}
	return answer, err
}
