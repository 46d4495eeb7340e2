package config

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
)

// Options are what Load and Parse need from outside. The zero value will do.
type Options struct {
	// CheckSchedule refuses a cron line that cannot be read or never fires; nil
	// takes any line of five fields. A panic in it is a refusal. An error with a
	// method Parts() (wrong, right string) says both apart.
	CheckSchedule func(spec string) error
	// SimMachines and SimMeters are the words that a simulated meter may use for
	// its machine and itself; nil takes any.
	SimMachines, SimMeters []string
	// Languages are those that letters exist in; nil takes any.
	Languages []string
	// Environment looks up a variable; nil: the process's own.
	Environment func(name string) (value string, there bool)
	// Disk is where files named in the building file are looked up; nil: the real one.
	Disk Disk
}

// source is one file of TOML.
type source struct {
	name string
	data []byte
}

// Load reads the building file at path and the meters of meters.d beside it. An
// error is an *Error with everything that is wrong, or says why the file cannot
// be read.
func Load(path string, o Options) (*File, error) {
	if o.Disk == nil {
		o.Disk = osDisk{}
	}
	data, err := o.Disk.ReadFile(path, maxFile)
	if err != nil {
		return nil, fmt.Errorf("the building file %s cannot be read: %s; correct its name, or write one with: drumturn init", path, whyNot(err))
	}
	more, err := meterFiles(path, o.Disk)
	if err != nil {
		return nil, err
	}
	return decode(source{path, data}, more, o)
}

// Parse reads a building file from memory. name stands in messages, and
// relative paths in the file start from its folder. meters.d is not read.
func Parse(name string, data []byte, o Options) (*File, error) {
	return decode(source{name, data}, nil, o)
}

// meterFiles reads meters.d/*.toml beside the building file.
func meterFiles(path string, disk Disk) ([]source, error) {
	dir := filepath.Join(filepath.Dir(path), "meters.d")
	entries, err := disk.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the folder %s cannot be read: %s", dir, whyNot(err))
	}
	var out []source
	for _, e := range entries {
		if e.IsDir() || strings.HasPrefix(e.Name(), ".") || !strings.HasSuffix(e.Name(), ".toml") {
			continue
		}
		name := filepath.Join(dir, e.Name())
		data, err := disk.ReadFile(name, maxFile)
		if err != nil {
			return nil, fmt.Errorf("the meter file %s cannot be read: %s; make it readable, or move it away", name, whyNot(err))
		}
		out = append(out, source{name, data})
	}
	return out, nil
}

// decode turns the files into a File, or into everything that is wrong with them.
func decode(main source, more []source, o Options) (*File, error) {
	if o.Disk == nil {
		o.Disk = osDisk{}
	}
	b := &builder{options: o, report: &report{}, file: &File{Path: main.name}, meters: map[string]*meterEntry{}}
	root := b.open(main)
	if root.node != nil {
		b.readMeters(root)
	}
	for _, src := range more {
		b.meterFile(b.open(src))
	}
	b.clashes()
	if root.node != nil {
		b.main(root)
	}
	problems := b.report.sorted()
	if b.report.refused() {
		return nil, &Error{Problems: problems}
	}
	b.file.Warnings = problems
	return b.file, nil
}

// builder makes a File from the sections of its files.
type builder struct {
	options Options
	report  *report
	file    *File
	meters  map[string]*meterEntry
	names   []string // of meters, in reading order
	// lost: some file could not be looked at, so that its meters are not known.
	lost bool
}

// open parses a file; the section is empty when it is too broken.
func (b *builder) open(src source) *section {
	b.report.files = append(b.report.files, src.name)
	in := &input{name: src.name, dir: filepath.Dir(src.name), report: b.report, disk: b.options.Disk}
	node := read(src.name, src.data, b.report)
	b.lost = b.lost || node == nil
	return &section{in: in, node: node}
}

// main decodes the building file itself, once the meters of all files are known.
func (b *builder) main(root *section) {
	b.building(root.table("building"), root)
	b.server(root.table("server"))
	if !root.has("server") {
		root.warn("server", "there is no section [server], so the pages are only at http://localhost:8080", "add [server] with public_url and tls")
	}
	b.mail(root.table("mail"))
	b.broker(root.table("mqtt"))
	b.housekeeping(root.table("schedule"), root.table("backup"))
	b.rooms(root)
	b.tariff(root.table("tariff"))
	b.meterUse()
	root.close()
}

// meterFile decodes a file of meters.d.
func (b *builder) meterFile(root *section) {
	if root.node == nil {
		return
	}
	if !root.has("meters") {
		root.wrong("meters", "this file has no meter", "add a section such as [meters.washer-1], or move the file away")
	}
	b.readMeters(root)
	root.close()
}
