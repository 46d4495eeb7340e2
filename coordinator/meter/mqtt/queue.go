package mqtt

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/eclipse/paho.golang/paho"

	"drumturn/coordinator/meter"
)

// queues stand between the client's connection, which must not be held up, and
// the rooms: one for each topic, so that a room that is slow holds up no other.
type queues struct {
	ctx     context.Context // of Run
	sink    meter.Sink
	within  time.Duration
	byTopic map[string]*queue
	wg      sync.WaitGroup
}

// queue holds the messages of one topic, for the meters that it feeds.
type queue struct {
	sources  []source
	messages chan message
}

// message is one message and what acknowledges it.
type message struct {
	payload []byte
	ack     func()
}

func newQueues(ctx context.Context, sink meter.Sink, within time.Duration, topics map[string][]source) *queues {
	q := &queues{ctx: ctx, sink: sink, within: within, byTopic: map[string]*queue{}}
	for topic, sources := range topics {
		one := &queue{sources: sources, messages: make(chan message, queueLength)}
		q.byTopic[topic] = one
		q.wg.Go(func() { q.work(one) })
	}
	return q
}

// wait returns when the queues have stopped, after the end of their context.
func (q *queues) wait() { q.wg.Wait() }

// received takes a message from the connection without waiting.
func (q *queues) received(r paho.PublishReceived) (bool, error) {
	ack := func() { _ = r.Client.Ack(r.Packet) } // fails only once the connection is gone
	one := q.byTopic[r.Packet.Topic]
	if one == nil || r.Packet.Retain {
		// A message that comes with the retain flag was kept by the broker: it
		// says how things were, at an unknown time.
		ack()
		return true, nil
	}
	select {
	case one.messages <- message{payload: r.Packet.Payload, ack: ack}:
	default:
		one.fail(q.sink, meter.Because(meter.Busy, fmt.Errorf("more than %d messages wait for the room: one was dropped; let the meter publish less often", queueLength)))
		ack()
	}
	return true, nil
}

// work delivers a topic's messages in their order.
func (q *queues) work(one *queue) {
	for {
		select {
		case <-q.ctx.Done():
			return
		case m := <-one.messages:
			for i := range one.sources {
				q.deliver(&one.sources[i], m.payload)
			}
			if q.ctx.Err() == nil {
				m.ack()
			}
		}
	}
}

// retryAfter is the pause before a full inbox is tried again.
const retryAfter = 100 * time.Millisecond

// deliver hands over a message, and goes on trying until the room takes it or
// has had its time: MQTT would hold back the acknowledgements of all others.
func (q *queues) deliver(src *source, payload []byte) {
	ctx, cancel := context.WithTimeout(q.ctx, q.within)
	defer cancel()
	for {
		err := src.deliver(ctx, q.sink, payload)
		if !errors.Is(err, meter.ErrBusy) {
			return
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(retryAfter):
		}
	}
}

func (one *queue) fail(sink meter.Sink, err error) {
	for _, src := range one.sources {
		sink.Fail(src.meter, err)
	}
}
