// Package mqtt takes readings from meters that speak MQTT (OASIS standard,
// versions 3.1.1 and 5): as a Broker that the meters connect to, or as a Client
// of a broker that the house has already.
package mqtt

import (
	"errors"
	"fmt"
	"strings"

	"drumturn/coordinator/meter"
)

// source is one meter that a topic feeds.
type source struct {
	meter   string
	decoder *meter.Decoder
}

// newSource checks what broker and client have in common about a meter.
func newSource(name, topic string, format meter.Format) (source, error) {
	if name == "" {
		return source{}, errors.New("a meter needs a name")
	}
	if err := checkTopic(topic); err != nil {
		return source{}, fmt.Errorf("meter %q: topic: %w", name, err)
	}
	decoder, err := meter.NewDecoder(format)
	if err != nil {
		return source{}, fmt.Errorf("meter %q: %w", name, err)
	}
	return source{meter: name, decoder: decoder}, nil
}

// checkTopic takes what may be published to (MQTT 5, section 4.7), without the
// topics that begin with a dollar sign, which belong to brokers.
func checkTopic(topic string) error {
	switch {
	case topic == "":
		return errors.New("it is empty; use a topic such as laundry/washer-1/power")
	case len(topic) > 65535:
		return errors.New("it is longer than MQTT allows (65,535 bytes)")
	case strings.ContainsAny(topic, "+#\x00"):
		return fmt.Errorf("%q: no + or # can be in it: each meter has one topic", topic)
	case topic[0] == '$':
		return fmt.Errorf("%q: topics that begin with $ belong to brokers", topic)
	}
	return nil
}

// names collects the names of meters, and refuses a second one of the same name.
type names struct {
	list []string
	seen map[string]bool
}

func (n *names) add(name string) error {
	if n.seen[name] {
		return fmt.Errorf("meter %q is there twice", name)
	}
	if n.seen == nil {
		n.seen = map[string]bool{}
	}
	n.seen[name] = true
	n.list = append(n.list, name)
	return nil
}
