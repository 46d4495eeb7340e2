package cycle

// landmarksMost is how many landmarks a run has at most.
const landmarksMost = 6

// landmarks are the minutes of a run where its power changes for good: the end
// of a heat, the begin of a cool-down, a spin. A present cycle may jump there
// from anywhere before, for how long a heat takes depends on the load and the
// water, and no warping by single minutes bridges it. They come in order.
func landmarks(codes []byte) (at []int) {
	const span, least = 3, 30
	change := func(j int) int {
		if j < span || j+span > len(codes) {
			return 0
		}
		sum := 0
		for k := range span {
			sum += int(codes[j+k]) - int(codes[j-1-k])
		}
		return max(sum, -sum) / span
	}
	for j := span; j+span <= len(codes); j++ {
		c := change(j)
		if c < least || c < change(j-1) || c <= change(j+1) {
			continue
		}
		if len(at) == landmarksMost {
			weakest := 0
			for k := range at {
				if change(at[k]) < change(at[weakest]) {
					weakest = k
				}
			}
			if change(at[weakest]) >= c {
				continue
			}
			at = append(at[:weakest], at[weakest+1:]...)
		}
		at = append(at, j)
	}
	return at
}
