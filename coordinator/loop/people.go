package loop

import (
	"context"
	"fmt"
	"sync/atomic"

	"drumturn/coordinator"
)

// People runs the building's people. Make it with NewPeople, then Run it.
type People struct {
	store Store
	clock Clock
	inbox chan peopleItem
	end   ending
	now   atomic.Pointer[coordinator.People]
}

type peopleItem struct {
	event  coordinator.PeopleEvent
	answer chan error
}

// NewPeople loads the building's people from the store and makes their loop.
func NewPeople(ctx context.Context, store Store, clock Clock) (*People, error) {
	stored, err := store.Load(ctx, coordinator.Building)
	if err != nil {
		return nil, fmt.Errorf("load the building's people: %w", err)
	}
	people, err := coordinator.RestorePeople(stored)
	if err != nil {
		return nil, err
	}
	p := &People{store: store, clock: clock, inbox: make(chan peopleItem, inboxSize), end: newEnding()}
	p.now.Store(people)
	return p, nil
}

// Snapshot returns the people as last committed. It is immutable and free.
func (p *People) Snapshot() *coordinator.People { return p.now.Load() }

// Do takes an event and answers after its commit.
func (p *People) Do(ctx context.Context, ev coordinator.PeopleEvent) error {
	it := peopleItem{event: ev, answer: make(chan error, 1)}
	select {
	case p.inbox <- it:
	case <-p.end.done:
		return p.end.err()
	case <-ctx.Done():
		return ctx.Err()
	}
	told, err := await(ctx, it.answer, &p.end)
	if err != nil {
		return err
	}
	return told
}

// Run owns the people until ctx ends or the store fails. It is called once.
func (p *People) Run(ctx context.Context) (err error) {
	defer func() { p.end.now(ctx, err) }()
	for {
		select {
		case <-ctx.Done():
			return nil
		case it := <-p.inbox:
			if err := p.take(ctx, it); err != nil {
				return err
			}
		}
	}
}

// take steps an event with those that wait behind it, and commits them together.
func (p *People) take(ctx context.Context, first peopleItem) error {
	next := p.now.Load()
	var sets []coordinator.ChangeSet
	var waiting []chan error
	for it, more := first, true; more; it, more = p.another(len(waiting)) {
		stepped, set, err := next.Step(p.clock.Now(), it.event)
		if err != nil {
			it.answer <- err
			continue
		}
		next = stepped
		waiting = append(waiting, it.answer)
		if set.Moves() {
			sets = append(sets, set)
		}
	}
	var err error
	if len(sets) > 0 {
		err = p.store.Commit(context.WithoutCancel(ctx), sets...)
	}
	if err == nil {
		p.now.Store(next)
	}
	for _, to := range waiting {
		to <- err
	}
	return err
}

func (p *People) another(taken int) (peopleItem, bool) {
	if taken >= batchSize {
		return peopleItem{}, false
	}
	select {
	case it := <-p.inbox:
		return it, true
	default:
		return peopleItem{}, false
	}
}
