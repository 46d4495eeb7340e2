package store

import (
	"context"
	"errors"
	"fmt"

	"go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"
)

// maxGroup is how many requests share a transaction at most, so that nobody
// waits for a transaction without end.
const maxGroup = 1024

// request is one caller's wish. Check may refuse it and must not write; write
// then has to succeed: an error of write fails the whole group.
type request struct {
	ctx    context.Context
	check  func(*bbolt.Tx) error
	write  func(*bbolt.Tx) error
	result chan error
	err    error // what check said, kept until the group's commit
}

// submit hands a request to the committer and waits for its result.
//
// When ctx ends first, the answer is its error, and the caller does not know:
// the request may have been committed, may still be, or never is. It is never
// half done. A request that the committer has not begun by then is dropped.
func (f *File) submit(ctx context.Context, check, write func(*bbolt.Tx) error) error {
	r := &request{ctx: ctx, check: check, write: write, result: make(chan error, 1)}
	if err := f.hand(r); err != nil {
		return err
	}
	select {
	case err := <-r.result:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (f *File) hand(r *request) error {
	f.mu.RLock()
	defer f.mu.RUnlock()
	if f.closed {
		return ErrClosed
	}
	if err := r.ctx.Err(); err != nil {
		return err
	}
	select {
	case f.work <- r:
		return nil
	case <-r.ctx.Done():
		return r.ctx.Err()
	}
}

// commitLoop is the one writer. While a transaction waits for the disk the next
// group gathers, so that many rooms share one wait.
func (f *File) commitLoop() {
	defer close(f.done)
	for r := range f.work {
		f.commitGroup(f.gather(r))
	}
}

// gather takes what waits, without waiting for more.
func (f *File) gather(first *request) []*request {
	group := []*request{first}
	for len(group) < maxGroup {
		select {
		case r, ok := <-f.work:
			if !ok {
				return group
			}
			group = append(group, r)
		default:
			return group
		}
	}
	return group
}

// commitGroup runs a group in one transaction and tells each caller its result.
func (f *File) commitGroup(group []*request) {
	err := f.update(func(tx *bbolt.Tx) error {
		for _, r := range group {
			if err := r.run(tx); err != nil {
				return err
			}
		}
		return nil
	})
	for _, r := range group {
		if err != nil && r.err == nil {
			r.err = err
		}
		r.result <- r.err
	}
}

// run keeps a refusal in the request, and answers with what must end the transaction.
func (r *request) run(tx *bbolt.Tx) error {
	if r.err = r.ctx.Err(); r.err != nil {
		return nil
	}
	if r.check != nil {
		if r.err = r.check(tx); r.err != nil {
			return nil
		}
	}
	return r.write(tx)
}

// update is a write transaction that answers with an error whatever happens, so
// that one bad request cannot end the committer.
func (f *File) update(fn func(*bbolt.Tx) error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the commit failed inside: %v", p)
		}
	}()
	err = f.db.Update(fn)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, bolterrors.ErrMaxSizeReached):
		return fmt.Errorf("the store has reached the size it may have (%s): %w", f.path, err)
	default:
		return fmt.Errorf("cannot write to the store: %w", err)
	}
}
