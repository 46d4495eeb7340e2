// Package enough answers whether a room has enough machines: it takes from the
// room's own history when people came and how long machines were taken, and
// plays weeks of that again, as things are and as they might be: with a machine
// more or fewer, or with loads collected sooner. It is pure, and the same
// history gives the same answer.
//
// What it assumes, and pages must say: the same people would come at the same
// hours (nobody is counted who looked at the board and went home, so a room that
// is far too small looks better than it is, and with more machines more people
// may come); those who wait do so in the order of coming, and through the night
// if they must; every load has the length and the delay of a load that was seen,
// by chance; washing and drying are played apart.
package enough
