package config

import (
	"time"

	"drumturn/coordinator"
)

// File is a building file, read and checked.
type File struct {
	// Path is the file's name as it was given.
	Path     string
	Building Building
	// Rooms are in the order of the file. Their Seed is the building's house
	// rules with what the room changes.
	Rooms []coordinator.Plan
	// Meters are those of the file, then those of meters.d, each in its order.
	// Only meters that a machine uses are listed.
	Meters   []Meter
	Server   Server
	Mail     Mail
	Broker   Broker
	Schedule Schedule
	Backup   Backup
	// Tariff seeds the store's; zero when the file has none.
	Tariff coordinator.Tariff
	// Warnings are problems that do not keep the building from running.
	Warnings []Problem
}

// Building is what the whole building has in common.
type Building struct {
	Name string
	Zone *time.Location
	// Language is the wall page's, such as "de"; empty: what its browser asks for.
	Language string
}

// Schedule holds cron lines of five fields, in the building's time.
type Schedule struct {
	// Nightly is when the figures of the day before are made, history that was
	// kept long enough is blanked, and the store is copied.
	Nightly string
	// Monthly is when the report of the month before is made and sent.
	Monthly string
}

// Backup says where copies of the store go.
type Backup struct {
	// Folder is a full path.
	Folder string
	// Keep is how many copies are kept.
	Keep int
}

// Meter finds a meter by name; nil when there is none.
func (f *File) Meter(name string) *Meter {
	for i := range f.Meters {
		if f.Meters[i].Name == name {
			return &f.Meters[i]
		}
	}
	return nil
}

// Room finds a room's plan; nil when there is none.
func (f *File) Room(id coordinator.RoomID) *coordinator.Plan {
	for i := range f.Rooms {
		if f.Rooms[i].ID == id {
			return &f.Rooms[i]
		}
	}
	return nil
}
