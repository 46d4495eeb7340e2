package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/paho"

	"drumturn/coordinator/meter/replay"
	"drumturn/coordinator/meter/sim"
)

// storyDay is the day that the story's washer was recorded on.
const storyDay = "2012-05-16"

// tapeReading is one line of the story's recording.
type tapeReading struct {
	at    time.Time
	meter string
	watts float64
}

// storyTape is the recording of the story's evening, in time order: a washer
// and a dryer of the tracebase data set, and a second washer that stands idle.
// Without the shared traces a simulated washer and dryer take their places.
//
// Contains information from the tracebase data set, which is made available at
// http://www.tracebase.org under the Open Database License (ODbL).
func storyTape(t *testing.T) (tape []tapeReading, shared bool) {
	t.Helper()
	begin, _ := time.Parse("2006-01-02 15:04", storyDay+" 19:00")
	end := begin.Add(3 * time.Hour)
	if dir := tracesDir(t); dir != "" {
		shared = true
		tape = recorded(t, filepath.Join(dir, "tracebase/washer-9.csv.gz"), "one", 0, begin, end)
		// The dryer's second cycle begins at 13:15:07 on 2011-12-13; here at 19:16.
		shift := begin.Add(16 * time.Minute).Sub(time.Date(2011, 12, 13, 13, 15, 7, 0, time.UTC))
		tape = append(tape, recorded(t, filepath.Join(dir, "tracebase/dryer-1.csv.gz"), "three", shift, begin, begin.Add(100*time.Minute))...)
		for at := begin.Add(101 * time.Minute); at.Before(end); at = at.Add(10 * time.Second) {
			tape = append(tape, tapeReading{at, "three", 1.3})
		}
	} else {
		tape = append(simulated(t, "washer", "one", begin, 15*time.Minute, end), simulated(t, "vented-dryer", "three", begin, 16*time.Minute, end)...)
	}
	for at := begin; at.Before(end); at = at.Add(time.Minute) {
		tape = append(tape, tapeReading{at, "two", 1})
	}
	slices.SortStableFunc(tape, func(a, b tapeReading) int { return cmp.Compare(a.at.UnixNano(), b.at.UnixNano()) })
	return tape, shared
}

// tracesDir is the folder of the shared traces; empty when there is none. When
// DRUMTURN_TRACES names one that is not there, the test fails.
func tracesDir(t *testing.T) string {
	t.Helper()
	dir, set := os.LookupEnv("DRUMTURN_TRACES")
	if !set {
		dir = "../../../shared/traces"
	}
	if _, err := os.Stat(dir); err != nil {
		if set {
			t.Fatalf("DRUMTURN_TRACES: %v", err)
		}
		t.Logf("no shared traces in %s: using simulated ones", dir)
		return ""
	}
	return dir
}

// recorded reads the part of a trace that lies in [begin, end) once shifted.
func recorded(t *testing.T, path, meter string, shift time.Duration, begin, end time.Time) []tapeReading {
	t.Helper()
	rec, err := replay.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer rec.Close()
	var tape []tapeReading
	for {
		row, err := rec.Next()
		if errors.Is(err, io.EOF) {
			return tape
		}
		if err != nil {
			t.Fatal(err)
		}
		if at := row.Time.Add(shift); !at.Before(begin) && at.Before(end) {
			tape = append(tape, tapeReading{at, meter, row.Watts})
		}
	}
}

// simulated runs a simulated machine once.
func simulated(t *testing.T, model, meter string, begin time.Time, startAfter time.Duration, end time.Time) []tapeReading {
	t.Helper()
	m, err := sim.ModelNamed(model)
	if err != nil {
		t.Fatal(err)
	}
	kind, err := sim.MeterNamed(sim.Meters()[0])
	if err != nil {
		t.Fatal(err)
	}
	machine := sim.NewMachine(m, 7, begin)
	if _, err := machine.Start(begin.Add(startAfter), sim.Programmes(m.Kind)[0], sim.Laundry{}); err != nil {
		t.Fatal(err)
	}
	var tape []tapeReading
	for r := range sim.NewMeter(kind, 7, begin).Readings(machine, end) {
		tape = append(tape, tapeReading{r.At, meter, r.Watts})
	}
	return tape
}

// storyMeter is a meter: an ordinary MQTT 5 client.
type storyMeter struct {
	story  *story
	name   string
	client *paho.Client
}

// meter returns the connected meter of a name.
func (s *story) meter(name string) *storyMeter {
	s.Helper()
	if m := s.meters[name]; m != nil {
		return m
	}
	client, err := signIn(s.Context(), s.broker, name, name+"-secret")
	if err != nil {
		s.Fatal(err)
	}
	m := &storyMeter{story: s, name: name, client: client}
	s.meters[name] = m
	return m
}

// publish sends a reading with QoS 1 and returns when the broker has it.
func (m *storyMeter) publish(r tapeReading) {
	m.story.Helper()
	body := []byte(strconv.FormatFloat(r.watts, 'f', -1, 64))
	if m.name == "two" {
		body = jsonReading(r)
	}
	ctx, cancel := context.WithTimeout(m.story.Context(), patience)
	defer cancel()
	if _, err := m.client.Publish(ctx, &paho.Publish{QoS: 1, Topic: "laundry/" + m.name, Payload: body}); err != nil {
		m.story.Fatalf("meter %s publishes: %v", m.name, err)
	}
}

// hangUp closes the connection.
func (m *storyMeter) hangUp() {
	_ = m.client.Disconnect(&paho.Disconnect{})
}

// signIn connects an ordinary MQTT 5 client to a broker.
func signIn(ctx context.Context, broker, user, password string) (*paho.Client, error) {
	conn, err := net.Dial("tcp", broker)
	if err != nil {
		return nil, err
	}
	client := paho.NewClient(paho.ClientConfig{Conn: conn})
	ack, err := client.Connect(ctx, &paho.Connect{
		ClientID: "meter-" + user, KeepAlive: 60, CleanStart: true,
		Username: user, UsernameFlag: true, Password: []byte(password), PasswordFlag: true,
	})
	if err == nil && ack.ReasonCode != 0 {
		err = fmt.Errorf("the broker answers reason code %d", ack.ReasonCode)
	}
	return client, err
}
