package store

import (
	"encoding/binary"
	"math"
	"math/bits"

	"drumturn/coordinator/cycle"
)

// A column of a chunk is one byte of form and what it announces:
//
//	columnAbsent   nothing: no reading has the value
//	columnXOR      each value's bits, XORed with those of the one before
//	0..maxDecimals differences of the values times 10^form, which are whole numbers
//
// with columnGaps set, a bit map of the readings that have the value comes first.
const (
	columnAbsent = 0x40
	columnXOR    = 0x41
	columnGaps   = 0x80
	maxDecimals  = 6
)

var powersOfTen = [...]float64{1, 10, 100, 1e3, 1e4, 1e5, 1e6}

func appendColumn(out []byte, all []cycle.Reading, value func(*cycle.Reading) float64) []byte {
	present := make([]float64, 0, len(all))
	gaps := make([]byte, (len(all)+7)/8)
	for i := range all {
		if v := value(&all[i]); !math.IsNaN(v) {
			present = append(present, v)
			gaps[i/8] |= 1 << (i % 8)
		}
	}
	if len(present) == 0 {
		return append(out, columnAbsent)
	}
	form := formOf(present)
	if len(present) < len(all) {
		out = append(append(out, form|columnGaps), gaps...)
	} else {
		out = append(out, form)
	}
	if form == columnXOR {
		return appendXOR(out, present)
	}
	return appendDecimals(out, present, powersOfTen[form])
}

// formOf is the fewest decimals in which every value comes back exactly.
func formOf(values []float64) byte {
	for d := range maxDecimals + 1 {
		if exact(values, powersOfTen[d]) {
			return byte(d)
		}
	}
	return columnXOR
}

func exact(values []float64, scale float64) bool {
	for _, v := range values {
		whole := math.Round(v * scale)
		if math.Abs(whole) >= 1<<53 || math.Float64bits(float64(int64(whole))/scale) != math.Float64bits(v) {
			return false
		}
	}
	return true
}

func appendDecimals(out []byte, values []float64, scale float64) []byte {
	var last int64
	for _, v := range values {
		n := int64(math.Round(v * scale))
		out = binary.AppendVarint(out, n-last)
		last = n
	}
	return out
}

// appendXOR writes what differs from the value before; like values share their
// high bits, so the bytes are turned round to make the number small.
func appendXOR(out []byte, values []float64) []byte {
	var last uint64
	for _, v := range values {
		b := math.Float64bits(v)
		out = binary.AppendUvarint(out, bits.ReverseBytes64(b^last))
		last = b
	}
	return out
}

// reader takes numbers off a body. After the first that is not there, bad is
// set and it answers zero.
type reader struct {
	b   []byte
	bad bool
}

func (r *reader) uvarint() uint64 {
	v, n := binary.Uvarint(r.b)
	return advance(r, v, n)
}

func (r *reader) varint() int64 {
	v, n := binary.Varint(r.b)
	return advance(r, v, n)
}

func advance[T any](r *reader, v T, n int) T {
	var zero T
	if r.bad || n <= 0 {
		r.bad = true
		return zero
	}
	r.b = r.b[n:]
	return v
}

// take cuts n bytes off; nil when they are not there.
func (r *reader) take(n int) []byte {
	if r.bad || len(r.b) < n {
		r.bad = true
		return nil
	}
	out := r.b[:n]
	r.b = r.b[n:]
	return out
}

// column reads count values and calls set for each, with NaN for an absent one.
func (r *reader) column(count int, set func(int, float64)) {
	first := r.take(1)
	if r.bad {
		return
	}
	form := first[0] &^ columnGaps
	var present []byte
	if first[0]&columnGaps != 0 {
		present = r.take((count + 7) / 8)
	}
	next := r.values(form)
	for i := 0; i < count && !r.bad; i++ {
		if form == columnAbsent || present != nil && present[i/8]&(1<<(i%8)) == 0 {
			set(i, absent())
		} else {
			set(i, next())
		}
	}
}

// values is what reads one value after the other in the form.
func (r *reader) values(form byte) func() float64 {
	switch {
	case form == columnAbsent:
		return absent
	case form == columnXOR:
		var last uint64
		return func() float64 {
			last ^= bits.ReverseBytes64(r.uvarint())
			return math.Float64frombits(last)
		}
	case form <= maxDecimals:
		var last int64
		return func() float64 {
			last += r.varint()
			return float64(last) / powersOfTen[form]
		}
	}
	r.bad = true
	return absent
}
