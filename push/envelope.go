package push

import (
	"crypto/sha256"
	"encoding/base64"
	"time"

	"drumturn/coordinator"
)

// longestTTL is what push services keep at most; common practice, no source.
const longestTTL = 28 * 24 * time.Hour

// usefulByDefault stands in for a notice that does not say how long it is useful.
const usefulByDefault = time.Hour

// usefulUntil is when telling n is pointless.
func usefulUntil(n *coordinator.Notice) time.Time {
	if n.UsefulUntil.IsZero() {
		return n.Made.Add(usefulByDefault)
	}
	return n.UsefulUntil
}

// TTL is what remains until the deadline in whole seconds, at least one: 0 would
// ask the service to drop it unless the device is connected at this moment.
func TTL(deadline, now time.Time) time.Duration {
	left := deadline.Sub(now).Truncate(time.Second)
	return min(max(left, time.Second), longestTTL)
}

// Topic is 32 base64url characters (the most that RFC 8030 section 5.4 allows)
// from the notice's thread and the person, so that a newer message about the
// same load or turn replaces the older, and a repeated one replaces itself.
func Topic(n *coordinator.Notice, person coordinator.PersonID) string {
	sum := sha256.Sum256([]byte(n.Thread() + "\n" + string(person)))
	return base64.RawURLEncoding.EncodeToString(sum[:24])
}

// Tag is what the phone groups by: a notice with the tag of a shown one takes
// its place. It is the same for every try of a notice: the thread, or a hash
// of it where a long room id would fill the payload.
func Tag(n *coordinator.Notice) string {
	if tag := n.Thread(); len(tag) <= longestTag {
		return tag
	}
	return Topic(n, "")
}

const longestTag = 120

// UrgencyOf is high for what a resident waits for, and normal otherwise.
func UrgencyOf(kind coordinator.NoticeKind) Urgency {
	switch kind {
	case coordinator.TurnCalled, coordinator.LoadReady:
		return UrgencyHigh
	}
	return UrgencyNormal
}
