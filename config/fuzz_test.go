package config_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"drumturn/config"
)

// FuzzParse wants of any input: no panic, and problems that each have a line of
// the file and say both what is wrong and what would be right, on one line.
func FuzzParse(f *testing.F) {
	names, _ := filepath.Glob("testdata/*/*.toml")
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add(config.Template(config.TemplateOptions{}))
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := config.Parse("b.toml", data, options())
		if err == nil {
			usable(t, file)
			told(t, data, file.Warnings)
			return
		}
		refused, ok := errors.AsType[*config.Error](err)
		if !ok || len(refused.Problems) == 0 {
			t.Fatalf("the error %v (%T) has no problems", err, err)
		}
		told(t, data, refused.Problems)
	})
}

func told(t *testing.T, data []byte, problems []config.Problem) {
	lines := strings.Count(string(data), "\n") + 1
	for _, p := range problems {
		if p.Line < 1 || p.Line > lines || p.File != "b.toml" || strings.TrimSpace(p.Wrong) == "" || strings.TrimSpace(p.Right) == "" {
			t.Errorf("a problem of a file of %d lines is %+v", lines, p)
		}
		if text := p.String(); strings.ContainsAny(text, "\n\r\x00") || !utf8.ValidString(text) {
			t.Errorf("a problem does not fit on a line: %q", text)
		}
	}
}

// usable checks what everything else relies on.
func usable(t *testing.T, f *config.File) {
	if f.Building.Name == "" || f.Building.Zone == nil || len(f.Rooms) == 0 {
		t.Errorf("a building without name, zone or rooms is taken: %+v", f)
	}
	for _, r := range f.Rooms {
		if found := r.Seed.Validate(); len(found) > 0 || len(r.Machines) == 0 || r.ID == "" || strings.Contains(string(r.ID), "/") {
			t.Errorf("a room is taken that has %v: %+v", found, r)
		}
		for _, m := range r.Machines {
			if m.ID == "" || m.Number < 1 || m.Kind == 0 || m.Meter != "" && f.Meter(m.Meter) == nil {
				t.Errorf("a machine is taken that is not whole: %+v", m)
			}
		}
	}
}
