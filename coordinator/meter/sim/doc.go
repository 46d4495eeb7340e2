// Package sim models washers and dryers as an electricity meter sees them, for
// demonstrations, trials of a building file, and tests.
//
// It has two halves. The first is pure and says what is true: Make turns a
// Model, a Programme and a seed into a Course (power over time, phases, the
// instant at which the programme is over), and a Machine strings courses into
// the life of one machine: started, stopped, emptied, cut off from the supply.
// The second is what somebody else gets to see of it: a Meter samples a Machine
// with the faults of real meters (coarse steps, noise, long intervals, reports
// on change only, dropouts, registers that roll over), and Driver paces that by
// a clock.
//
// Everything follows from the seeds: the same calls give the same readings.
//
// Levels and lengths are common practice of the trade unless a comment beside
// them names a source.
package sim
