package store

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"strings"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
)

// The buckets. They are few and large, and nearly every key begins with the
// unit, so that a room's records lie together and can be moved as one.
var (
	bucketMeta        = []byte("meta")         // name -> value: what the file is, and its schema
	bucketUnits       = []byte("units")        // unit 0 -> sequence, time of the last set
	bucketRows        = []byte("rows")         // unit 0 table 0 key -> value
	bucketCheckpoints = []byte("checkpoints")  // unit 0 machine -> checkpoint
	bucketFacts       = []byte("facts")        // unit 0 time number -> fact, JSON
	bucketBlanked     = []byte("blanked")      // unit 0 -> key of the first fact not yet looked at by Retain
	bucketReadings    = []byte("readings")     // unit 0 machine 0 span number -> chunk
	bucketOutbox      = []byte("outbox")       // notice key -> delivery, JSON
	bucketDue         = []byte("outbox_due")   // time notice-key, pending rows only
	bucketSubject     = []byte("outbox_about") // subject 0 notice-key, pending rows only
	bucketMade        = []byte("outbox_made")  // time notice-key
	bucketUnitMade    = []byte("outbox_unit")  // unit 0 time notice-key
	bucketPerson      = []byte("outbox_to")    // person 0 time notice-key
	bucketJobs        = []byte("jobs")         // job 0 date -> time
	bucketRollups     = []byte("rollups")      // key -> value
)

// timeLen is the length of an instant in a key.
const timeLen = 12

// maxKey is the longest key that is taken; the file format's own limit is 32 KiB.
const maxKey = 8 << 10

// join puts the parts of a key together with a zero byte after each but the last.
func join(parts ...string) []byte { return []byte(strings.Join(parts, "\x00")) }

// unitPrefix is what every key of a unit begins with.
func unitPrefix(u coordinator.Unit) []byte { return append([]byte(u), 0) }

// machinePrefix is what every chunk of a machine's readings begins with.
func machinePrefix(u coordinator.Unit, m coordinator.MachineID) []byte {
	return append(append(unitPrefix(u), m...), 0)
}

// appendTime adds t so that the order of the bytes is the order of time. Any
// instant has a place, the zero time included.
func appendTime(key []byte, t time.Time) []byte {
	key = binary.BigEndian.AppendUint64(key, uint64(t.Unix())^1<<63)
	return binary.BigEndian.AppendUint32(key, uint32(t.Nanosecond()))
}

// timeAt reads what appendTime wrote.
func timeAt(b []byte) (time.Time, error) {
	if len(b) < timeLen {
		return time.Time{}, fmt.Errorf("an instant of %d bytes instead of %d: the file is damaged", len(b), timeLen)
	}
	sec := int64(binary.BigEndian.Uint64(b) ^ 1<<63)
	return time.Unix(sec, int64(binary.BigEndian.Uint32(b[8:]))).UTC(), nil
}

// wellFormed refuses names that would run into the next part of a key.
func wellFormed(what string, parts ...string) error {
	n := 0
	for _, p := range parts {
		if strings.IndexByte(p, 0) >= 0 {
			return fmt.Errorf("%s %q has a zero byte in it: leave it out", what, p)
		}
		n += len(p) + 1
	}
	if n > maxKey {
		return fmt.Errorf("%s %.40q… is %d bytes long: at most %d are kept", what, strings.Join(parts, "/"), n, maxKey)
	}
	return nil
}

// eachKey calls fn for the keys that begin with prefix, from the key from on,
// until fn says false. fn must neither keep the slices nor write.
func eachKey(b *bbolt.Bucket, prefix, from []byte, fn func(k, v []byte) bool) {
	c := b.Cursor()
	for k, v := c.Seek(from); k != nil && bytes.HasPrefix(k, prefix); k, v = c.Next() {
		if !fn(k, v) {
			return
		}
	}
}
