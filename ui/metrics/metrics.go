// Package metrics says in Prometheus' text format how the program does. It is
// the one package that imports its client library. Names follow the conventions
// of Prometheus: base units, _total for what only rises. No label has a name, a
// home, or an address in it.
package metrics

import (
	"net/http"
	"runtime/debug"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Machine is a machine as it is measured.
type Machine struct {
	Room, Machine string
	// Status is its status word; Statuses are all that there are.
	Status   string
	Watts    float64
	Heard    time.Time
	EnergyWh float64
}

// Room is a room as it is measured.
type Room struct {
	Room     string
	Waiting  int
	Machines []Machine
}

// Meter is a meter as it is measured.
type Meter struct {
	Meter                    string
	Silent                   bool
	Taken, Refused, Failures uint64
}

// Notices are how sending goes.
type Notices struct {
	Sent, Retried, Gone, Failed, Alarms, Silent int
	// Trouble: the outbox cannot be read or written.
	Trouble bool
}

// Now is all that is measured, at one instant.
type Now struct {
	Rooms  []Room
	Meters []Meter
	// Notices is nil where none are sent.
	Notices *Notices
	// StoreBytes is the size of the store's file.
	StoreBytes int64
	// WebhooksFailing counts webhooks whose last try was in vain.
	Webhooks, WebhooksFailing int
}

// Statuses are the words for a machine's status.
var Statuses = []string{"free", "held", "running", "finished", "overdue", "unknown", "out"}

// Handler answers with what now says, what requests took, and how the process does.
// It has a registry of its own.
func Handler(now func() Now, requests *Requests) http.Handler {
	registry := prometheus.NewRegistry()
	registry.MustRegister(collector{now}, requests.took, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return promhttp.HandlerFor(registry, promhttp.HandlerOpts{})
}

// collector reads everything when it is asked: what is counted is counted
// elsewhere, so that nothing here stands in anybody's way.
type collector struct{ now func() Now }

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("drumturn_"+name, help, labels, nil)
}

var (
	buildInfo     = desc("build_info", "The program; always 1.", "version")
	machineStatus = desc("machine_status", "1 for the status that a machine has, 0 for the others.", "room", "machine", "status")
	machinePower  = desc("machine_power_watts", "The newest reading of a machine's meter.", "room", "machine")
	machineHeard  = desc("machine_heard_timestamp_seconds", "When a machine's meter was last heard, Unix time.", "room", "machine")
	machineEnergy = desc("machine_cycle_energy_joules", "The energy of the cycle that runs, or of the last.", "room", "machine")
	turnsWaiting  = desc("turns_waiting", "Turns that wait to be called.", "room")

	meterSilent   = desc("meter_silent", "1 for a meter that is silent.", "meter")
	meterReadings = desc("meter_readings_total", "Readings taken from a meter.", "meter")
	meterRefused  = desc("meter_readings_refused_total", "Readings of a meter that could not be used.", "meter")
	meterFailures = desc("meter_failures_total", "Failures to ask a meter.", "meter")

	noticesSent  = desc("notices_sent_total", "Messages that a push service or the mail server has taken.")
	noticesAgain = desc("notices_retried_total", "Messages that were not taken, and are tried again.")
	noticesGone  = desc("notices_subscriptions_ended_total", "Subscriptions that had ended.")
	noticesFail  = desc("notices_failed_total", "Messages that were given up.")
	alarms       = desc("notice_services_refusing", "Services that refuse our messages for good.")
	silent       = desc("notice_services_silent", "Services that failed several times in a row.")
	outboxFails  = desc("outbox_failing", "1 while the outbox cannot be read or written.")

	storeSize       = desc("store_size_bytes", "The size of the store's file.")
	webhooks        = desc("webhooks", "Addresses that events are posted to.")
	webhooksFailing = desc("webhooks_failing", "Of these, those whose last try was in vain.")
)

// Describe implements prometheus.Collector.
func (c collector) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{
		buildInfo, machineStatus, machinePower, machineHeard, machineEnergy, turnsWaiting, meterSilent, meterReadings, meterRefused, meterFailures,
		noticesSent, noticesAgain, noticesGone, noticesFail, alarms, silent, outboxFails, storeSize, webhooks, webhooksFailing,
	} {
		to <- d
	}
}

// Collect implements prometheus.Collector.
func (c collector) Collect(to chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		to <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	count := func(d *prometheus.Desc, v float64, labels ...string) {
		to <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, v, labels...)
	}
	now := c.now()
	gauge(buildInfo, 1, version())
	for i := range now.Rooms {
		gauge(turnsWaiting, float64(now.Rooms[i].Waiting), now.Rooms[i].Room)
		for k := range now.Rooms[i].Machines {
			machine(&now.Rooms[i].Machines[k], gauge)
		}
	}
	for _, m := range now.Meters {
		gauge(meterSilent, flag(m.Silent), m.Meter)
		count(meterReadings, float64(m.Taken), m.Meter)
		count(meterRefused, float64(m.Refused), m.Meter)
		count(meterFailures, float64(m.Failures), m.Meter)
	}
	if n := now.Notices; n != nil {
		count(noticesSent, float64(n.Sent))
		count(noticesAgain, float64(n.Retried))
		count(noticesGone, float64(n.Gone))
		count(noticesFail, float64(n.Failed))
		gauge(alarms, float64(n.Alarms))
		gauge(silent, float64(n.Silent))
		gauge(outboxFails, flag(n.Trouble))
	}
	gauge(storeSize, float64(now.StoreBytes))
	gauge(webhooks, float64(now.Webhooks))
	gauge(webhooksFailing, float64(now.WebhooksFailing))
}

// joules are in a watt-hour: the base unit of energy.
const joules = 3600

func machine(m *Machine, gauge func(*prometheus.Desc, float64, ...string)) {
	for _, s := range Statuses {
		gauge(machineStatus, flag(s == m.Status), m.Room, m.Machine, s)
	}
	gauge(machineEnergy, m.EnergyWh*joules, m.Room, m.Machine)
	if !m.Heard.IsZero() {
		gauge(machinePower, m.Watts, m.Room, m.Machine)
		gauge(machineHeard, float64(m.Heard.UnixMilli())/1000, m.Room, m.Machine)
	}
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// version is what the program was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	return info.Main.Version
}
