package store

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"slices"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// spanKey is where the chunks of a span begin; the chunk's number follows.
func spanKey(prefix []byte, span int64) []byte {
	return binary.BigEndian.AppendUint64(bytes.Clone(prefix), uint64(span)^1<<63)
}

func chunkKey(prefix []byte, span int64, number uint32) []byte {
	return binary.BigEndian.AppendUint32(spanKey(prefix, span), number)
}

// spanNumber reads span and number from a chunk's key.
func spanNumber(prefix, key []byte) (span int64, number uint32, err error) {
	rest := key[len(prefix):]
	if len(rest) != 12 {
		return 0, 0, errChunk
	}
	return int64(binary.BigEndian.Uint64(rest) ^ 1<<63), binary.BigEndian.Uint32(rest[8:]), nil
}

// Readings implements Store. Readings of one instant come in the order they
// were stored in. fn runs outside any transaction and may use the store.
func (f *File) Readings(ctx context.Context, unit coordinator.Unit, machine coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
	prefix := machinePrefix(unit, machine)
	for more := true; more && from.Before(to); {
		var page []cycle.Reading
		err := f.view(ctx, func(tx *bbolt.Tx) error {
			page, more = nil, false
			return eachSpan(tx, prefix, from, func(all []cycle.Reading) bool {
				page, more = all, true
				return false // one span at a time, so that no read lasts
			})
		})
		if err != nil {
			return fmt.Errorf("cannot read the readings of machine %q in unit %q: %w", machine, unit, err)
		}
		for _, r := range page {
			if r.At.Before(from) || !r.At.Before(to) {
				continue
			}
			if !fn(coordinator.MachineReading{Machine: machine, Reading: r}) {
				return nil
			}
		}
		if more {
			from = nextSpan(page)
		}
	}
	return nil
}

// nextSpan is the begin of the span after the one that the readings are in.
func nextSpan(all []cycle.Reading) time.Time {
	return time.Unix((spanOf(all[0].At)+1)*spanSec, 0).UTC()
}

// eachSpan calls fn with the readings of each span, in the order of time, from
// the span of from on, until it says false. Chunks that end before from are
// left out unread.
func eachSpan(tx *bbolt.Tx, prefix []byte, from time.Time, fn func([]cycle.Reading) bool) (err error) {
	var all []cycle.Reading
	var at int64
	stopped := false
	eachKey(tx.Bucket(bucketReadings), prefix, spanKey(prefix, spanOf(from)), func(k, v []byte) bool {
		var span int64
		if span, _, err = spanNumber(prefix, k); err != nil {
			return false
		}
		if span != at && len(all) > 0 {
			if stopped = !fn(inOrder(all)); stopped {
				return false
			}
			all = nil
		}
		at = span
		all, err = appendChunk(all, v, span, from)
		return err == nil
	})
	if err == nil && !stopped && len(all) > 0 {
		fn(inOrder(all))
	}
	return err
}

func appendChunk(all []cycle.Reading, v []byte, span int64, from time.Time) ([]cycle.Reading, error) {
	h, _, err := decodeHead(v)
	if err != nil || h.instant(span, h.last).Before(from) {
		return all, err
	}
	more, err := decodeChunk(v, span)
	return append(all, more...), err
}

func inOrder(all []cycle.Reading) []cycle.Reading {
	slices.SortStableFunc(all, func(a, b cycle.Reading) int { return a.At.Compare(b.At) })
	return all
}

// writeReadings adds the set's readings to the chunks of their machines.
func (p *prepared) writeReadings(tx *bbolt.Tx) error {
	of := map[coordinator.MachineID][]cycle.Reading{}
	var machines []coordinator.MachineID // in the order of the set, so that files are the same for the same input
	for _, r := range p.Readings {
		if _, seen := of[r.Machine]; !seen {
			machines = append(machines, r.Machine)
		}
		of[r.Machine] = append(of[r.Machine], r.Reading)
	}
	for _, m := range machines {
		if err := addReadings(tx.Bucket(bucketReadings), machinePrefix(p.Unit, m), inOrder(of[m])); err != nil {
			return fmt.Errorf("readings of machine %q: %w", m, err)
		}
	}
	return nil
}

// addReadings adds readings, which are in order, span by span.
func addReadings(b *bbolt.Bucket, prefix []byte, all []cycle.Reading) error {
	for len(all) > 0 {
		span := spanOf(all[0].At)
		n := slices.IndexFunc(all, func(r cycle.Reading) bool { return spanOf(r.At) != span })
		if n < 0 {
			n = len(all)
		}
		if err := addToSpan(b, prefix, span, all[:n:n]); err != nil {
			return err
		}
		all = all[n:]
	}
	return nil
}

// addToSpan merges the readings into the span's last chunk while that has room,
// and begins new ones. A chunk that is left behind is sealed.
func addToSpan(b *bbolt.Bucket, prefix []byte, span int64, fresh []cycle.Reading) error {
	key, value := lastChunk(b, prefix, span)
	number, sealed := uint32(0), false
	if key != nil {
		have, n, err := spanNumber(prefix, key)
		if err != nil {
			return err
		}
		h, _, err := decodeHead(value)
		if err != nil {
			return err
		}
		switch {
		case have == span && h.count < chunkMax:
			old, err := decodeChunk(value, span)
			if err != nil {
				return err
			}
			number, sealed, fresh = n, h.deflated, inOrder(append(old, fresh...))
		case have == span:
			number = n + 1
		}
		if number != n || have != span {
			if err := seal(b, key, value, have); err != nil {
				return err
			}
		}
	}
	return putChunks(b, prefix, span, number, fresh, sealed)
}

// putChunks writes readings as chunks numbered from number on. Full ones are sealed.
func putChunks(b *bbolt.Bucket, prefix []byte, span int64, number uint32, all []cycle.Reading, sealed bool) error {
	for part := range slices.Chunk(all, chunkMax) {
		full := len(part) == chunkMax
		if err := b.Put(chunkKey(prefix, span, number), encodeChunk(part, span, full || sealed)); err != nil {
			return err
		}
		number++
	}
	return nil
}

// lastChunk is a copy of the machine's newest chunk at or before the span; nil when there is none.
func lastChunk(b *bbolt.Bucket, prefix []byte, span int64) (key, value []byte) {
	c := b.Cursor()
	step := c.Prev
	if k, _ := c.Seek(spanKey(prefix, span+1)); k == nil {
		step = c.Last
	}
	k, v := step()
	if !bytes.HasPrefix(k, prefix) {
		return nil, nil
	}
	return bytes.Clone(k), bytes.Clone(v)
}

// seal compresses a chunk that nothing is expected to be added to.
func seal(b *bbolt.Bucket, key, value []byte, span int64) error {
	h, _, err := decodeHead(value)
	if err != nil || h.deflated {
		return err
	}
	all, err := decodeChunk(value, span)
	if err != nil {
		return err
	}
	if small := encodeChunk(all, span, true); len(small) < len(value) {
		return b.Put(key, small)
	}
	return nil
}
