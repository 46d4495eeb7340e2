package store

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"drumturn/coordinator/cycle"
)

// A chunk holds up to chunkMax readings of one machine within one span of time,
// in the order of time:
//
//	1 byte   format, with flagDeflated when the body is compressed
//	uvarint  number of readings
//	uvarint  unit of time, as an index into timeUnits
//	uvarint  first reading, in units after the begin of the span
//	uvarint  last reading, likewise
//	uvarint  length of the body before compression (only when compressed)
//	body     instants, column of watts, column of watt-hours
//
// The instants after the first are differences of differences, which are zero
// for a meter that reports at an even pace. Nothing is rounded: a unit of time
// or a number of decimals is used only where every value comes back bit by bit.
const (
	chunkFormat  = 1
	flagDeflated = 0x80
	chunkMax     = 512
	// bodyMax bounds what a damaged chunk can make the decoder allocate.
	bodyMax = chunkMax * 3 * (binary.MaxVarintLen64 + 1)
	spanSec = 6 * 60 * 60
)

// timeUnits are tried from the coarsest.
var timeUnits = [...]int64{1e9, 1e6, 1e3, 1}

var errChunk = errors.New("a chunk of readings does not decode: the file is damaged")

// spanOf numbers the span that an instant lies in.
func spanOf(t time.Time) int64 {
	sec := t.Unix()
	span := sec / spanSec
	if sec%spanSec < 0 {
		span--
	}
	return span
}

// nanos is how long after the begin of the span t is.
func nanos(t time.Time, span int64) int64 {
	return (t.Unix()-span*spanSec)*1e9 + int64(t.Nanosecond())
}

// head is what a chunk says before its body.
type head struct {
	count       int
	unit        int64 // ns
	first, last int64 // units after the span's begin
	deflated    bool
	rawLen      int
}

// encodeChunk encodes readings that are in the order of time and all of one
// span. A sealed chunk is compressed when that makes it smaller.
func encodeChunk(all []cycle.Reading, span int64, sealed bool) []byte {
	at := make([]int64, len(all))
	for i := range all {
		at[i] = nanos(all[i].At, span)
	}
	u := coarsest(at)
	body := appendInstants(nil, at, timeUnits[u])
	body = appendColumn(body, all, func(r *cycle.Reading) float64 { return r.Watts })
	body = appendColumn(body, all, func(r *cycle.Reading) float64 { return r.Wh })

	out := []byte{chunkFormat}
	for _, v := range []int64{int64(len(all)), int64(u), at[0] / timeUnits[u], at[len(at)-1] / timeUnits[u]} {
		out = binary.AppendUvarint(out, uint64(v))
	}
	if sealed {
		if small := deflate(body); len(small)+3 < len(body) {
			out[0] |= flagDeflated
			out = binary.AppendUvarint(out, uint64(len(body)))
			return append(out, small...)
		}
	}
	return append(out, body...)
}

// coarsest is the index of the largest unit that divides every instant.
func coarsest(at []int64) int {
	for u, unit := range timeUnits {
		whole := true
		for _, t := range at {
			whole = whole && t%unit == 0
		}
		if whole {
			return u
		}
	}
	return len(timeUnits) - 1
}

func appendInstants(out []byte, at []int64, unit int64) []byte {
	var step int64
	for i := 1; i < len(at); i++ {
		d := (at[i] - at[i-1]) / unit
		out = binary.AppendVarint(out, d-step)
		step = d
	}
	return out
}

// decodeHead reads a chunk's head and answers with what follows it.
func decodeHead(b []byte) (h head, rest []byte, err error) {
	if len(b) == 0 || b[0]&^flagDeflated != chunkFormat {
		return h, nil, errChunk
	}
	h.deflated = b[0]&flagDeflated != 0
	r := reader{b: b[1:]}
	count, unit := r.uvarint(), r.uvarint()
	first, last := r.uvarint(), r.uvarint()
	if h.deflated {
		h.rawLen = int(min(r.uvarint(), bodyMax+1))
	}
	if r.bad || count == 0 || count > chunkMax || unit >= uint64(len(timeUnits)) || h.rawLen > bodyMax {
		return h, nil, errChunk
	}
	h.count, h.unit = int(count), timeUnits[unit]
	limit := uint64(spanSec * 1e9 / h.unit)
	if first > last || last >= limit {
		return h, nil, errChunk
	}
	h.first, h.last = int64(first), int64(last)
	return h, r.b, nil
}

// instant turns units after the span's begin into time.
func (h *head) instant(span, units int64) time.Time {
	ns := units * h.unit
	return time.Unix(span*spanSec+ns/1e9, ns%1e9).UTC()
}

// decodeChunk is the reverse of encodeChunk. Times come back in UTC, and every
// NaN as the one that means "absent".
func decodeChunk(b []byte, span int64) ([]cycle.Reading, error) {
	h, body, err := decodeHead(b)
	if err != nil {
		return nil, err
	}
	if h.deflated {
		if body, err = inflate(body, h.rawLen); err != nil {
			return nil, err
		}
	}
	all := make([]cycle.Reading, h.count)
	r := reader{b: body}
	at, step := h.first, int64(0)
	all[0].At = h.instant(span, at)
	for i := 1; i < h.count; i++ {
		step += r.varint()
		if at += step; step < 0 || at < h.first || at > h.last {
			return nil, errChunk
		}
		all[i].At = h.instant(span, at)
	}
	r.column(h.count, func(i int, v float64) { all[i].Watts = v })
	r.column(h.count, func(i int, v float64) { all[i].Wh = v })
	if r.bad || len(r.b) != 0 || at != h.last {
		return nil, errChunk
	}
	return all, nil
}

// deflate compresses. Only chunks that are complete are, so it is called seldom.
func deflate(body []byte) []byte {
	var out bytes.Buffer
	w, err := flate.NewWriter(&out, flate.BestCompression)
	if err != nil {
		panic(err) // the level is a constant
	}
	_, _ = w.Write(body) // a bytes.Buffer does not fail
	_ = w.Close()
	return out.Bytes()
}

func inflate(b []byte, rawLen int) ([]byte, error) {
	out := make([]byte, rawLen)
	z := flate.NewReader(bytes.NewReader(b))
	if _, err := io.ReadFull(z, out); err != nil {
		return nil, fmt.Errorf("%w (%w)", errChunk, err)
	}
	if n, err := z.Read(make([]byte, 1)); n != 0 || err != io.EOF {
		return nil, errChunk
	}
	return out, nil
}

// absent is the value of a reading that was not given.
func absent() float64 { return math.NaN() }
