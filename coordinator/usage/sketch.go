package usage

import (
	"encoding/base64"
	"encoding/binary"
	"math"
	"slices"
	"time"
)

// Sketch holds how long many waits were, in a size that does not grow with their
// number: two sketches put together are the sketch of all their waits, and a
// quantile is within 1 % of the exact one. Waits below a second count as none.
//
// Source of the method: Masson, Rim, Lee, "DDSketch: a fast and fully-mergeable
// quantile sketch with relative-error guarantees", PVLDB 12(12), 2019: buckets
// whose borders are powers of gamma = (1+a)/(1-a) for the relative error a.
type Sketch struct {
	// bins are in rising order; number i holds waits w, in seconds, with
	// gamma^(i-2) < w <= gamma^(i-1), and number 0 those below a second.
	bins []bin
	n    int
}

type bin struct {
	number uint32
	count  uint32
}

const sketchError = 0.01

var (
	sketchGamma = (1 + sketchError) / (1 - sketchError)
	sketchLog   = math.Log(sketchGamma)
)

// longestWait is what longer waits are taken for; it bounds the sketch's size.
const longestWait = 10 * 366 * 24 * time.Hour

// SketchOf is the sketch of some waits.
func SketchOf(waits ...time.Duration) Sketch {
	var s Sketch
	for _, w := range waits {
		s.Add(w)
	}
	return s
}

// Add counts one more wait.
func (s *Sketch) Add(w time.Duration) {
	number := uint32(0)
	if w >= time.Second {
		number = 1 + uint32(math.Ceil(math.Log(min(w, longestWait).Seconds())/sketchLog))
	}
	s.add(bin{number, 1})
}

func (s *Sketch) add(b bin) {
	i, found := slices.BinarySearchFunc(s.bins, b.number, func(have bin, number uint32) int { return int(have.number) - int(number) })
	if found {
		s.bins[i].count += b.count
	} else {
		s.bins = slices.Insert(s.bins, i, b)
	}
	s.n += int(b.count)
}

// Merge counts the waits of another sketch too.
func (s *Sketch) Merge(other *Sketch) {
	s.n += other.n
	fresh, i := 0, 0
	for _, b := range other.bins {
		for i < len(s.bins) && s.bins[i].number < b.number {
			i++
		}
		if i < len(s.bins) && s.bins[i].number == b.number {
			s.bins[i].count += b.count
		} else {
			fresh++
		}
	}
	if fresh > 0 {
		s.insert(other.bins, fresh)
	}
}

// insert adds the bins, so many, that are not there yet. The bins that were there
// are left as they are: a copy of the sketch may have them too.
func (s *Sketch) insert(bins []bin, fresh int) {
	all, i := make([]bin, 0, len(s.bins)+fresh), 0
	for _, b := range bins {
		for i < len(s.bins) && s.bins[i].number < b.number {
			all = append(all, s.bins[i])
			i++
		}
		if i == len(s.bins) || s.bins[i].number > b.number {
			all = append(all, b)
		}
	}
	s.bins = append(all, s.bins[i:]...)
}

// Count is how many waits there are.
func (s *Sketch) Count() int { return s.n }

// Median is the middle wait, zero for none.
func (s *Sketch) Median() time.Duration { return s.Quantile(0.5) }

// P95 is the wait that 95 of 100 stay within, zero for none.
func (s *Sketch) P95() time.Duration { return s.Quantile(0.95) }

// Quantile is the p-quantile, p from 0 to 1, by the same rule as of exact waits:
// that of the NIST/SEMATECH e-Handbook, 7.2.6.2. It is zero for no waits.
func (s *Sketch) Quantile(p float64) time.Duration {
	if s.n == 0 {
		return 0
	}
	rank := min(max(p*float64(s.n+1), 1), float64(s.n))
	k := int(math.Floor(rank))
	below, above := s.ranked(k), s.ranked(min(k+1, s.n))
	return below + time.Duration(math.Round((rank-float64(k))*float64(above-below)))
}

// ranked is the k-th wait in rising order, from 1.
func (s *Sketch) ranked(k int) time.Duration {
	for _, b := range s.bins {
		if k -= int(b.count); k <= 0 {
			return b.value()
		}
	}
	return 0
}

// value is what every wait of the bin is taken for: at most 1 % beside each.
func (b bin) value() time.Duration {
	if b.number == 0 {
		return 0
	}
	return time.Duration(2 * math.Exp(float64(b.number-1)*sketchLog) / (sketchGamma + 1) * float64(time.Second))
}

// IsZero reports whether there are no waits.
func (s Sketch) IsZero() bool { return s.n == 0 }

// pack appends the bins: for each how much its number is above the last one's, and
// its count.
func (s *Sketch) pack(raw []byte) []byte {
	last := uint32(0)
	for _, b := range s.bins {
		raw = binary.AppendUvarint(binary.AppendUvarint(raw, uint64(b.number-last)), uint64(b.count))
		last = b.number
	}
	return raw
}

// take reads so many bins.
func (s *Sketch) take(u *unpacking, bins int) {
	*s = Sketch{}
	if bins > 0 {
		s.bins = make([]bin, 0, bins)
	}
	at := uint64(0)
	for i := range bins {
		gap, count := u.next(), u.next()
		at += gap
		if gap > math.MaxUint16 || at > math.MaxUint16 || count == 0 || count > math.MaxUint32 || i > 0 && gap == 0 {
			u.bad()
			return
		}
		s.bins = append(s.bins, bin{uint32(at), uint32(count)})
		s.n += int(count)
	}
}

// MarshalText packs the sketch into a short text.
func (s Sketch) MarshalText() ([]byte, error) {
	return base64.RawStdEncoding.AppendEncode(nil, s.pack(nil)), nil
}

// UnmarshalText reads what MarshalText wrote.
func (s *Sketch) UnmarshalText(text []byte) error {
	u := unpack(text)
	numbers := 0 // every number ends with an octet below 0x80
	for _, b := range u.raw {
		if b < 0x80 {
			numbers++
		}
	}
	s.take(&u, (numbers+1)/2)
	return u.end()
}
