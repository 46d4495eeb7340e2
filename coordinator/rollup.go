package coordinator

import "time"

// Rollup is one stored sum. A nil Value deletes it.
type Rollup struct {
	Key   string
	Value []byte
}

// JobMark says that a job was done for a local date or month. One without a Job
// marks nothing.
type JobMark struct {
	Job, Date string
	At        time.Time
}
