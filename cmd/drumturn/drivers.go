package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"

	"drumturn/config"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/meter"
	"drumturn/coordinator/meter/httppush"
	"drumturn/coordinator/meter/mqtt"
	"drumturn/coordinator/meter/replay"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

// wireMeters makes the drivers of the building file's meters, under one supervisor.
func (a *app) wireMeters(context.Context) error {
	var err error
	a.meters, err = meter.NewSupervisor(meter.Options{
		Accept: a.accept,
		Clock:  a.clock, Log: a.log, SilentAfter: a.silentAfter(),
	})
	if err != nil {
		return err
	}
	for _, add := range []func() error{a.addBroker, a.addClients, a.addHTTP, a.addOthers} {
		if err := add(); err != nil {
			return err
		}
	}
	for name, d := range a.drivers {
		if err := a.meters.Add(name, d); err != nil {
			return err
		}
	}
	return nil
}

// accept takes what a meter says to its room: a reading, the state of a door, or both.
func (a *app) accept(ctx context.Context, name string, s meter.Sample) error {
	var err error
	if s.Measures() {
		err = a.house.Deliver(ctx, name, s.Reading(a.clock.Now()))
	}
	if err == nil && s.Door != meter.NoDoor {
		err = a.house.Door(ctx, name, s.Door == meter.DoorOpen)
	}
	if errors.Is(err, loop.ErrNoMachine) {
		return meter.Refuse(name, meter.UnknownMeter, "%v", err)
	}
	return err
}

// silentAfter says for each meter what its machine's settings say.
func (a *app) silentAfter() func(string) time.Duration {
	after := map[string]time.Duration{}
	for _, room := range a.file.Rooms {
		for _, m := range room.Machines {
			after[m.Meter] = m.Power.SilentAfter
		}
	}
	return func(name string) time.Duration { return after[name] }
}

// format is a payload of the building file, as the drivers take it; where the
// file says nothing, the driver's own format holds.
func format(p config.Payload) meter.Format {
	if !p.JSON() {
		return meter.Format{}
	}
	return meter.Format{Watts: p.Watts, Wh: p.Wh, Time: p.Time, Door: p.Door, WhFactor: p.WhFactor}
}

// addBroker adds the MQTT broker within this program, if a meter needs it. Its
// socket is opened now, so that a port in use is found at start.
func (a *app) addBroker() error {
	if !a.file.Broker.Needed {
		return nil
	}
	opts := mqtt.BrokerOptions{Log: a.log}
	for _, m := range a.file.Meters {
		if o, ok := m.Options.(*config.MQTTMeter); ok {
			opts.Meters = append(opts.Meters, mqtt.BrokerMeter{
				Name: m.Name, Topic: o.Topic, User: o.User, Password: o.Password.Reveal(), Format: format(o.Payload),
			})
		}
	}
	opts.Address = a.file.Broker.Listen
	if a.file.Broker.TLS.Mode == config.TLSFiles {
		pair := &certFiles{cert: a.file.Broker.TLS.CertFile, key: a.file.Broker.TLS.KeyFile, whose: "MQTT broker's", section: "mqtt"}
		var err error
		if opts.TLS, err = pair.tlsConfig(); err != nil {
			return err
		}
		opts.Address, opts.TLSAddress = "", a.file.Broker.Listen
	}
	broker, err := mqtt.NewBroker(opts)
	if err != nil {
		return err
	}
	if err := broker.Listen(); err != nil {
		return fmt.Errorf("the MQTT broker: %w", err)
	}
	a.brokerAddr = func() net.Addr {
		if addr := broker.TLSAddr(); opts.TLS != nil {
			return addr
		}
		return broker.Addr()
	}
	return a.meters.Add("mqtt", broker)
}

// addClients adds one client for each existing broker and user.
func (a *app) addClients() error {
	type account struct{ url, user, password string }
	clients := map[account]*mqtt.ClientOptions{}
	var order []account
	for _, m := range a.file.Meters {
		o, ok := m.Options.(*config.MQTTClientMeter)
		if !ok {
			continue
		}
		key := account{o.URL, o.User, o.Password.Reveal()}
		if clients[key] == nil {
			clients[key] = &mqtt.ClientOptions{URL: o.URL, User: o.User, Password: key.password, Log: a.log}
			order = append(order, key)
		}
		clients[key].Meters = append(clients[key].Meters, mqtt.ClientMeter{Name: m.Name, Topic: o.Topic, Format: format(o.Payload)})
	}
	for i, key := range order {
		client, err := mqtt.NewClient(*clients[key])
		if err != nil {
			return err
		}
		if err := a.meters.Add(fmt.Sprintf("mqtt-client-%d", i+1), client); err != nil {
			return err
		}
	}
	return nil
}

// addHTTP adds the meters that post their readings.
func (a *app) addHTTP() error {
	var meters []httppush.Meter
	for _, m := range a.file.Meters {
		if o, ok := m.Options.(*config.HTTPPushMeter); ok {
			meters = append(meters, httppush.Meter{Name: m.Name, Token: o.Token.Reveal(), Format: format(o.Payload)})
		}
	}
	if len(meters) == 0 {
		return nil
	}
	driver, err := httppush.New(httppush.Options{Meters: meters})
	if err != nil {
		return err
	}
	if a.mounts == nil {
		a.mounts = mountTable{}
	}
	a.mounts[httppush.Path] = driver.Handler()
	return a.meters.Add("httppush", driver)
}

// addOthers adds recordings and simulated machines.
func (a *app) addOthers() error {
	for _, m := range a.file.Meters {
		driver, err := a.single(m)
		if err != nil {
			return err
		}
		if driver == nil {
			continue
		}
		if err := a.meters.Add(m.Driver+" "+m.Name, driver); err != nil {
			return err
		}
	}
	return nil
}

// single makes the driver of a meter that has one of its own; nil where it shares one.
func (a *app) single(m config.Meter) (meter.Driver, error) {
	switch o := m.Options.(type) {
	case *config.MQTTMeter, *config.MQTTClientMeter, *config.HTTPPushMeter:
		return nil, nil
	case *config.ReplayMeter:
		return replay.New(replay.Options{Tracks: []replay.Track{{Meter: m.Name, Path: o.File}}, Repeat: o.Repeat, Clock: a.clock})
	case *config.SimMeter:
		return sim.New(m.Name, a.simOptions(m.Name, o), a.clock)
	}
	return nil, errors.New("meter " + m.Name + ": no driver is wired for it")
}

// simOptions fills in what the file leaves out: a model that fits the machine
// which the meter stands in front of.
func (a *app) simOptions(name string, o *config.SimMeter) sim.Options {
	out := sim.Options{Machine: o.Machine, Meter: o.Meter, Seed: o.Seed, RunsPerDay: o.RunsPerDay}
	if out.Meter == "" {
		out.Meter = sim.Meters()[0]
	}
	if out.Machine == "" {
		out.Machine = simModelFor(a.kindBehind(name))
	}
	return out
}

// kindBehind is the kind of the machine behind a meter.
func (a *app) kindBehind(name string) queue.Kind {
	for _, room := range a.file.Rooms {
		for i := range room.Machines {
			if room.Machines[i].Meter == name {
				return room.Machines[i].Kind
			}
		}
	}
	return queue.Washer
}

// simModelFor is the first simulated machine of a kind.
func simModelFor(k queue.Kind) string {
	for _, name := range sim.Models() {
		if m, err := sim.ModelNamed(name); err == nil && m.Kind == k {
			return name
		}
	}
	return sim.Models()[0]
}
