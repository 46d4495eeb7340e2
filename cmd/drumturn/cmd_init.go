package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"drumturn/config"
)

// initCommand writes a building file to start from.
type initCommand struct {
	fileArgument
	Print bool `help:"Write it to the standard output instead."`
}

// Run never overwrites a file.
func (c *initCommand) Run(s streams) error {
	text := config.Template(config.TemplateOptions{})
	if c.Print {
		_, err := s.out.Write(text)
		return err
	}
	f, err := os.OpenFile(c.File, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return usageError{fmt.Errorf("%s is there already and is left as it is; name another file: drumturn init another.toml", c.File)}
	}
	if err != nil {
		return fmt.Errorf("write the building file: %w", err)
	}
	if _, err := f.Write(text); err != nil {
		_ = f.Close()
		return fmt.Errorf("write the building file: %w", err)
	}
	if err := f.Close(); err != nil {
		return fmt.Errorf("write the building file: %w", err)
	}
	fmt.Fprintf(s.out, "Wrote %s. Change it to describe your building, then:\n  drumturn check %[1]s\n  drumturn serve %[1]s\n", c.File)
	return nil
}
