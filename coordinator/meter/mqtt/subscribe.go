package mqtt

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync/atomic"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"

	"drumturn/coordinator/meter"
)

const (
	// subscribeWithin is how long the broker may take to answer a subscription.
	subscribeWithin = 10 * time.Second
	// subscribeAgain is the pause before it is asked again.
	subscribeAgain = 30 * time.Second
	// topicsAtOnce is how many topics one SUBSCRIBE asks for.
	topicsAtOnce = 50
)

// subscriber asks for the topics each time that the connection comes up.
type subscriber struct {
	client *Client
	sink   meter.Sink
	times  atomic.Int64 // how often the connection came up
}

// connected begins to subscribe; it is called by the connection and must not block.
func (s *subscriber) connected(ctx context.Context, conn *autopaho.ConnectionManager) {
	mine := s.times.Add(1)
	go s.keepAsking(ctx, conn, mine)
}

// keepAsking asks until every topic is granted, the connection is lost, or a
// newer one has come up.
func (s *subscriber) keepAsking(ctx context.Context, conn *autopaho.ConnectionManager, mine int64) {
	left := slices.Sorted(maps.Keys(s.client.topics))
	for {
		var refused []string
		for batch := range slices.Chunk(left, topicsAtOnce) {
			refused = append(refused, s.ask(ctx, conn, batch)...)
		}
		left = refused
		if len(left) == 0 {
			return
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(subscribeAgain):
		}
		if s.times.Load() != mine {
			return
		}
	}
}

// ask subscribes to topics, and returns those that were not granted. The broker
// is asked to leave out what it has kept (retain handling 2).
func (s *subscriber) ask(ctx context.Context, conn *autopaho.ConnectionManager, topics []string) (refused []string) {
	ctx, cancel := context.WithTimeout(ctx, subscribeWithin)
	defer cancel()
	var want paho.Subscribe
	for _, topic := range topics {
		want.Subscriptions = append(want.Subscriptions, paho.SubscribeOptions{Topic: topic, QoS: 1, RetainHandling: 2})
	}
	answer, err := conn.Subscribe(ctx, &want)
	if err == nil || errors.Is(err, autopaho.ConnectionDownError) || errors.Is(err, paho.ErrConnectionLost) || errors.Is(ctx.Err(), context.Canceled) {
		return nil // when the connection is down, its return asks again
	}
	for i, topic := range topics {
		if answer != nil && i < len(answer.Reasons) {
			if answer.Reasons[i] < 0x80 {
				continue
			}
			err = fmt.Errorf("reason code 0x%02x", answer.Reasons[i])
		}
		refused = append(refused, topic)
		s.fail(topic, err)
	}
	return refused
}

func (s *subscriber) fail(topic string, err error) {
	for _, src := range s.client.topics[topic] {
		s.sink.Fail(src.meter, meter.Because(meter.NotGranted, fmt.Errorf("the broker %s did not grant topic %q (%w): let user %q read it",
			s.client.server.Host, topic, err, s.client.opts.User)))
	}
}
