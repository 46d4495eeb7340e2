// Package config reads the building file: the wiring of a building's laundry
// rooms in TOML (rooms, machines, meters, server, secrets), and the seeds of
// the house rules and the tariff. It reads strictly and reports everything that
// is wrong in one go, each problem with its file, line and key, what is wrong,
// and what would be right, in words for somebody who is no programmer.
//
// Rules, tariff and opening hours are checked by the packages that own them;
// this package only decodes, and finds the line that a problem belongs to.
package config
