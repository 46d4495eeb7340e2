package main

import (
	"context"
	"errors"
	"sync"

	"drumturn/coordinator"
	"drumturn/push"
)

// errKilled stands for the kill between a send and its record.
var errKilled = errors.New("killed before the record")

// tear loses the first record of every row's send, over all restarts of a run.
type tear struct {
	mu   sync.Mutex
	seen map[string]bool
	torn bool
}

// strike reports whether the record of these rows is to be lost: when one of
// them is recorded for the first time, and until the program was opened again.
func (t *tear) strike(rows []coordinator.Delivery) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.seen == nil {
		t.seen = map[string]bool{}
	}
	for _, row := range rows {
		if !t.seen[row.Key] && len(row.Devices) > 0 {
			t.seen[row.Key], t.torn = true, true
		}
	}
	return t.torn
}

// takeTorn reports whether a record was lost since the last call.
func (t *tear) takeTorn() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	torn := t.torn
	t.torn = false
	return torn
}

// outbox stands between the worker and the store in the mode that kills.
func (s *story) outbox(box push.Outbox) push.Outbox {
	if s.mode != killBeforeRecord {
		return box
	}
	return &tornOutbox{Outbox: box, tear: s.tear}
}

type tornOutbox struct {
	push.Outbox
	tear *tear
}

// RecordDeliveries fails when the tear strikes.
func (o *tornOutbox) RecordDeliveries(ctx context.Context, rows ...coordinator.Delivery) error {
	if o.tear.strike(rows) {
		return errKilled
	}
	return o.Outbox.RecordDeliveries(ctx, rows...)
}
