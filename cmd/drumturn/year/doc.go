// Package year lets an invented building live for a simulated year and measures
// how well its laundry room is run: by drumturn, and by two simpler policies on
// the same arrivals. Its benchmark prints the table of DEVELOPERS.md:
//
//	go test ./cmd/drumturn/year -run '^$' -bench Year -benchtime 1x
//
// The policies are
//
//   - the queue: the real coordinator.Room with the learning cycle engine, told
//     of minute readings of power and of taps, and of nothing else;
//   - the door: no queue; people walk down, take a machine that they find free,
//     and else come back later;
//   - the list: washers are booked in fixed slots of three hours.
//
// Everything that chance decides about a load (its course, how late its owner
// comes for it, whether a call is missed) is drawn from the seed and the number
// of the wish, so that it is the same under each policy. The room's forecasts
// know events only: none of the numbers in Habits.
//
// The numbers are invented; nothing was measured in a building.
package year
