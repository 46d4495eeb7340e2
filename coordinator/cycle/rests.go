package cycle

import (
	"math"
	"time"
)

// restBins count rests by the lowest power in them: below a quarter of a watt,
// and from there on each bin twice as high.
const (
	restBins   = 8
	restLeastW = 0.25
)

// rests is how low the power of this machine falls in its pauses and at its ends.
// Many machines switch their electronics off when they are done, or light the
// display; then the power alone tells a pause from the end. What it tells is the
// ratio of the two likelihoods, each the share of what was seen with a prior that
// makes no difference (the Bayes factor: R. E. Kass and A. E. Raftery, Bayes
// factors, J. Am. Stat. Assoc. 90 (1995) 773-795).
type rests struct {
	Pauses, Ends [restBins]float64
}

const (
	// restPrior is how many rests the common prior is worth.
	restPrior = 2
	// restMost bounds the ratio either way: a power seen for the first time may
	// have other reasons.
	restOn, restMost = 32, 8
	restFade         = 0.97
	// restLeast is how long a pause must last to tell how low its power falls.
	restLeast = 15 * time.Second
)

// restPlace is the bin of a power and how much of it belongs to the next.
func restPlace(w float64) (b int, next float64) {
	if !(w > restLeastW/2) {
		return 0, 0
	}
	at := 1 + math.Log2(w/restLeastW)
	if at >= restBins-1 {
		return restBins - 2, 1
	}
	return int(at), at - math.Floor(at)
}

// countRest adds n rests, shared between two bins so that no edge parts like from like.
func countRest(bins *[restBins]float64, w, n float64) {
	b, next := restPlace(w)
	bins[b] = max(0, bins[b]+n*(1-next))
	bins[b+1] = max(0, bins[b+1]+n*next)
}

// pause counts a pause in which the power fell to w.
func (r *rests) pause(w float64) { countRest(&r.Pauses, w, 1) }

// end counts an end after which it did; old rests fade.
func (r *rests) end(w float64) {
	for i := range r.Pauses {
		r.Pauses[i] *= restFade
		r.Ends[i] *= restFade
	}
	countRest(&r.Ends, w, 1)
}

// forgetEnd takes back an end that was none.
func (r *rests) forgetEnd(w float64) { countRest(&r.Ends, w, -1) }

// favours is how much likelier a pause falls to w than an end does.
func (r *rests) favours(w float64) float64 {
	b, next := restPlace(w)
	pauses, inPauses := seenRests(&r.Pauses, b, next)
	ends, atEnds := seenRests(&r.Ends, b, next)
	common := (0.5*inPauses/max(1, pauses) + 0.5*atEnds/max(1, ends) + 1.0/restBins) / 2
	p := (inPauses + restPrior*common) / (pauses + restPrior)
	e := (atEnds + restPrior*common) / (ends + restPrior)
	return min(restOn, max(1.0/restMost, p/e))
}

// seenRests is how many rests there were, and how many at a place.
func seenRests(bins *[restBins]float64, b int, next float64) (all, at float64) {
	for _, n := range bins {
		all += n
	}
	return all, bins[b]*(1-next) + bins[b+1]*next
}
