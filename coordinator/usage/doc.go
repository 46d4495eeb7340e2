// Package usage turns a building's history into figures for its manager, and
// keeps house at night: daily sums, the shortening of history, backups.
//
// The figures are pure functions of facts. The one thing that runs is Keeper,
// by a cron schedule; whatever it does is done once for a local date, and made
// up for after the program was down.
package usage
