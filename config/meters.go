package config

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
)

// Meter is one meter of the building.
type Meter struct {
	Name string
	// Driver is the driver's name in the file.
	Driver string
	// Options are the driver's: *MQTTMeter, *MQTTClientMeter, *HTTPPushMeter,
	// *ReplayMeter or *SimMeter.
	Options any
}

// noDriver is the word for a meter that is not connected: its machine is run by hand.
const noDriver = "none"

// drivers decodes the options of each driver.
var drivers = map[string]func(*builder, *section) any{
	"mqtt":        (*builder).mqttMeter,
	"mqtt-client": (*builder).mqttClientMeter,
	"httppush":    (*builder).httpPushMeter,
	"replay":      (*builder).replayMeter,
	"sim":         (*builder).simMeter,
	noDriver:      func(*builder, *section) any { return nil },
}

var driverWords = slices.Sorted(maps.Keys(drivers))

// Drivers lists the words that a meter's driver may be, sorted.
func Drivers() []string { return slices.Clone(driverWords) }

// meterEntry is a meter with its place and the machine it was given to.
type meterEntry struct {
	meter   Meter
	section *section
	user    string // the machine's full name; empty for none yet
	line    int    // of that machine's setting, in the building file
}

// readMeters decodes every [meters.NAME] of a file.
func (b *builder) readMeters(root *section) {
	for _, s := range root.named("meters", "a meter") {
		name := s.node.label
		if old, twice := b.meters[name]; twice {
			s.in.tell(s.node, Mistake, fmt.Sprintf("there is a meter of this name already, in %s line %d", old.section.in.name, old.section.node.line),
				"give one of the two another name")
			continue
		}
		b.meters[name] = &meterEntry{meter: b.oneMeter(name, s), section: s}
		b.names = append(b.names, name)
	}
}

func (b *builder) oneMeter(name string, s *section) Meter {
	m := Meter{Name: name}
	s.missing("driver", "add driver = with one of "+quoted(driverWords))
	if !s.word("driver", (*plainWord)(&m.Driver), driverWords...) {
		s.misspelt("driver") // without it, no other setting can be judged
		return m
	}
	m.Options = drivers[m.Driver](b, s)
	s.close()
	return m
}

// misspelt reports the settings that were probably meant as key.
func (s *section) misspelt(key string) {
	for _, name := range s.node.order {
		if name != key && nearest(name, []string{key}) != "" {
			s.wrong(name, "there is no such setting here", "did you mean "+key+"?")
		}
	}
}

// plainWord is any word.
type plainWord string

// UnmarshalText takes the text.
func (w *plainWord) UnmarshalText(text []byte) error {
	*w = plainWord(text)
	return nil
}

func quoted(words []string) string {
	out := ""
	for i, w := range words {
		if i > 0 {
			out += ", "
		}
		out += strconv.Quote(w)
	}
	return out
}

// meterOf reads the name of the meter in front of a machine; empty for a
// machine that is run by hand.
func (b *builder) meterOf(s *section) string {
	var name string
	if !s.text("meter", &name) {
		return ""
	}
	m, ok := b.meters[name]
	switch {
	case !ok && b.lost:
		return "" // it may be in the file that cannot be read
	case !ok && len(b.meters) == 0:
		s.wrong("meter", fmt.Sprintf("there is no meter %q", name), "add a section [meters."+bareOrQuoted(name)+"], or remove this setting where the machine is run by hand")
		return ""
	case !ok:
		s.wrong("meter", fmt.Sprintf("there is no meter %q", name), didYouMean(name, slices.Clone(b.names)))
		return ""
	case m.user != "":
		s.wrong("meter", fmt.Sprintf("the meter %q is in front of another machine already (%s, line %d); the power of two machines behind one meter could not be told apart", name, m.user, m.line),
			"fit a meter for each machine, or remove this setting and run the machine by hand")
		return ""
	}
	m.user = s.node.path()
	m.line = s.node.child("meter").line
	if m.meter.Driver == noDriver {
		return ""
	}
	return name
}

// meterUse keeps the meters that are used, and warns of the others.
func (b *builder) meterUse() {
	for _, name := range b.names {
		m := b.meters[name]
		if m.user == "" {
			m.section.in.tell(m.section.node, Warning, "no machine has this meter, so nothing is made of its readings",
				fmt.Sprintf("add meter = %q to its machine, or remove the meter", name))
			continue
		}
		if m.meter.Driver != noDriver {
			b.file.Meters = append(b.file.Meters, m.meter)
		}
	}
}
