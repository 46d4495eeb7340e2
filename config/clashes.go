package config

import "fmt"

// clashes reports meters that could be taken for one another.
func (b *builder) clashes() {
	seen := map[string]string{}
	for _, name := range b.names {
		m := b.meters[name]
		for _, id := range identities(m) {
			if id.value == "" {
				continue
			}
			full := m.meter.Driver + "\x00" + id.key + "\x00" + id.value
			if first, twice := seen[full]; twice {
				m.section.wrong(id.key, fmt.Sprintf("the meter %q has the same %s; their readings could not be told apart", first, id.what), id.right)
				continue
			}
			seen[full] = name
		}
	}
}

// identity is something by which a meter is told from others.
type identity struct{ key, what, value, right string }

func identities(m *meterEntry) []identity {
	const ownTopic = "give each meter a topic of its own, here and in the meter"
	switch o := m.meter.Options.(type) {
	case *MQTTMeter:
		return []identity{
			{"topic", "topic", o.Topic, ownTopic},
			{"user", "user name", o.User, "give each meter a user name of its own, here and in the meter"},
		}
	case *MQTTClientMeter:
		if o.Topic == "" {
			return nil
		}
		p := o.Payload
		return []identity{{"topic", "topic and place", o.URL + " " + o.Topic + " " + p.Watts + " " + p.Wh, ownTopic}}
	case *HTTPPushMeter:
		key := "token"
		if m.section.has("token_file") {
			key = "token_file"
		}
		return []identity{{key, "token", o.Token.Reveal(), "give each meter a token of its own"}}
	}
	return nil
}
