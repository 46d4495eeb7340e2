package queue

// cells is how finely a draw tells its lengths apart.
const cells = 1024

// lots makes the draws that decide chance in a forecast. Each thing that chance
// decides has a key of its own, made from what it is about (a turn, a machine's
// load) and not from the order of the draws. So the next forecast, a minute later,
// or one with a machine more, draws the same for the same thing, and what people
// see does not jitter.
//
// The rounds are a Latin hypercube (McKay, Beckman and Conover 1979): over all
// rounds, the draws for one key hit each of as many equal parts of 0 to 1 once.
type lots struct {
	seed uint64
	bits uint // the logarithm of the number of rounds, 4 to 10
}

// lotsFor chooses the number of rounds for a line with as many turns: enough that
// the 10th and 90th percentile of one play are exact to two or three in a hundred, fewer
// where the line is long, since what adds up many draws varies less.
func lotsFor(seed uint64, turns int) lots {
	switch {
	case turns > 200:
		return lots{seed, 6}
	case turns > 40:
		return lots{seed, 7}
	}
	return lots{seed, 8}
}

// rounds is how often the room is played.
func (l lots) rounds() int { return 1 << l.bits }

// mix64 spreads the bits of x: the finalizer of SplitMix64 (Steele, Lea and Flood 2014).
func mix64(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// key names what a draw is about.
func (l lots) key(about, id uint64) uint64 { return mix64(l.seed ^ mix64(id^about<<56)) }

// cell draws one of the cells that 0 to 1 is cut into, each as likely, the same
// for the same key and round. Its upper bits are the round's place in a permutation
// that belongs to the key, made of steps that can be undone; the others are chance.
func (l lots) cell(key uint64, round int) int {
	mask, half := uint64(1)<<l.bits-1, l.bits/2
	p := (uint64(round) + key) & mask
	p = p * (key>>8 | 1) & mask
	p ^= p >> half
	q := p * (key>>24 | 1)
	p = q & mask
	p ^= p >> half
	p = (p + key>>48) & mask
	fine := (q>>l.bits + key>>58) & (cells>>l.bits - 1)
	return int(p<<(10-l.bits) | fine)
}

// share is the middle of a cell, in 0 to 1.
func share(cell int) float64 { return (float64(cell) + 0.5) / cells }

// hashID makes a number of a machine's id (FNV-1a, 64 bits).
func hashID(id MachineID) uint64 {
	h := uint64(14695981039346656037)
	for i := range len(id) {
		h = (h ^ uint64(id[i])) * 1099511628211
	}
	return h
}
