package config

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
)

// MQTTMeter publishes to the broker within this program.
type MQTTMeter struct {
	// Topic is the one topic that it may publish to.
	Topic    string
	User     string
	Password Secret
	Payload  Payload
}

// MQTTClientMeter is heard through a broker that exists already.
type MQTTClientMeter struct {
	// URL is that broker's: mqtt, mqtts, ws or wss.
	URL      string
	User     string
	Password Secret
	Topic    string
	Payload  Payload
}

// HTTPPushMeter posts its readings to this program.
type HTTPPushMeter struct {
	// Token is what the meter shows: Authorization: Bearer TOKEN.
	Token   Secret
	Payload Payload
}

// ReplayMeter plays a recording.
type ReplayMeter struct {
	// File is the full path of a CSV file: time,watts[,wh], plain or gzip.
	File   string
	Repeat bool
}

// SimMeter is a simulated machine with its meter.
type SimMeter struct {
	// Machine and Meter name the models; empty for the driver's own choice.
	Machine, Meter string
	Seed           uint64
	// RunsPerDay is how often the machine starts by itself.
	RunsPerDay float64
}

// The shortest secrets, in characters. A meter's keys are often typed by hand,
// and some meters take no long ones.
const (
	leastPassword = 8
	leastToken    = 16
)

func (b *builder) mqttMeter(s *section) any {
	m := &MQTTMeter{User: s.node.label}
	s.missing("topic", fmt.Sprintf("add topic = %q, and set the meter to publish there", "laundry/"+s.node.label))
	s.topic("topic", &m.Topic)
	s.user(&m.User)
	m.Password = s.secret("password", leastPassword, true)
	m.Payload = s.payload()
	return m
}

func (b *builder) mqttClientMeter(s *section) any {
	m := &MQTTClientMeter{}
	s.missing("url", `add url = "mqtt://broker.example.org:1883", the address of your broker`)
	s.brokerURL("url", &m.URL)
	s.user(&m.User)
	m.Password = s.secret("password", 1, false)
	if m.Password.IsSet() && m.User == "" && !s.has("user") {
		s.missing("user", "add user = with the name that the password belongs to")
	}
	s.missing("topic", "add topic = with the topic that the meter publishes to")
	s.topic("topic", &m.Topic)
	m.Payload = s.payload()
	return m
}

func (b *builder) httpPushMeter(s *section) any {
	m := &HTTPPushMeter{}
	m.Token = s.secret("token", leastToken, true)
	m.Payload = s.payload()
	return m
}

func (b *builder) replayMeter(s *section) any {
	const most = 256 << 20
	m := &ReplayMeter{}
	s.missing("file", `add file = "recording.csv"`)
	s.content("file", most, &m.File)
	s.truth("repeat", &m.Repeat)
	return m
}

func (b *builder) simMeter(s *section) any {
	m := &SimMeter{Seed: 1, RunsPerDay: 3}
	s.oneOf("machine", &m.Machine, b.options.SimMachines)
	s.oneOf("meter", &m.Meter, b.options.SimMeters)
	seed := 1
	if s.whole("seed", &seed, 0, 1<<31) {
		m.Seed = uint64(seed)
	}
	s.number("runs_per_day", &m.RunsPerDay, 0, 24, " runs a day")
	return m
}

// oneOf reads one of the words, or any text where there is no list of words.
func (s *section) oneOf(key string, into *string, words []string) {
	if len(words) == 0 {
		s.text(key, into)
		return
	}
	s.word(key, (*plainWord)(into), slices.Sorted(slices.Values(words))...)
}

// topic reads a topic that one meter publishes to (MQTT 5.0 section 4.7).
func (s *section) topic(key string, into *string) {
	const longest = 200
	var topic string
	if !s.text(key, &topic) {
		return
	}
	right := `use the topic as the meter's settings show it, such as "laundry/washer-1"`
	switch {
	case topic == "":
		s.wrong(key, "the topic is empty", right)
	case strings.ContainsAny(topic, "+#"):
		s.wrong(key, "a topic with + or # stands for many meters, and a meter has one of its own", right)
	case strings.HasPrefix(topic, "$"):
		s.wrong(key, "topics that begin with $ belong to the broker", right)
	case len(topic) > longest:
		s.wrong(key, "the topic is too long", fmt.Sprintf("use %d letters at most", longest))
	default:
		*into = topic
	}
}

// user reads the name that a meter signs in with.
func (s *section) user(into *string) {
	var user string
	if !s.text("user", &user) {
		return
	}
	if user == "" || strings.TrimSpace(user) != user || len(user) > 100 {
		s.wrong("user", "the user name is empty, too long, or has spaces around it", "write it as it is set in the meter")
		return
	}
	*into = user
}

// brokerURL reads the address of a broker.
func (s *section) brokerURL(key string, into *string) {
	var text string
	if !s.text(key, &text) {
		return
	}
	u, err := url.Parse(text)
	right := `use an address such as "mqtt://broker.example.org:1883", or mqtts:// for an encrypted one`
	switch {
	case err != nil || u.Hostname() == "":
		s.wrong(key, "this is no address of a broker", right)
	case !slices.Contains([]string{"mqtt", "mqtts", "ws", "wss"}, u.Scheme):
		s.wrong(key, fmt.Sprintf("a broker is not reached by %s://", u.Scheme), right)
	case u.User != nil:
		s.wrong(key, "the address has a user name or password in it", "write them as user and password (or password_file), and take them out of the address")
	default:
		*into = text
	}
}
