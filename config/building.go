package config

import (
	"strings"
	"time"
	_ "time/tzdata" // zones also where the computer has no list of them
)

// Languages lists what the pages can speak, as the catalogue of words has it: a
// test in cmd compares.
func Languages() []string { return []string{"en", "de", "fr", "es", "ar"} }

func (b *builder) building(s, root *section) {
	if s.node == nil && !root.has("building") {
		root.wrong("building", "the section [building] is missing", `add [building] with name = "…" and time_zone = "Europe/Berlin"`)
		return
	}
	s.missing("name", `add name = "the building's name"`)
	s.name("name", &b.file.Building.Name)
	s.missing("time_zone", `add time_zone = "Europe/Berlin", or the zone of your country`)
	b.file.Building.Zone = s.zone("time_zone")
	s.oneOf("language", &b.file.Building.Language, Languages())
	s.close()
}

// zone reads the name of a time zone; UTC when it is wrong.
func (s *section) zone(key string) *time.Location {
	var name string
	if !s.text(key, &name) {
		return time.UTC
	}
	zone, err := time.LoadLocation(name)
	if err != nil || strings.TrimSpace(name) == "" || name == "Local" {
		s.wrong(key, "there is no time zone of that name", `use a name of the international list: a continent and a city, such as "Europe/Berlin" or "America/Toronto"`)
		return time.UTC
	}
	return zone
}
