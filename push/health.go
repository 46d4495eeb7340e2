package push

import (
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// Health is how sending goes, for the manager's page. Times are the worker's clock.
type Health struct {
	// Sent, Retried, Gone and Failed count answers since the program began:
	// accepted, to be tried again, ended subscriptions, given up.
	Sent, Retried, Gone, Failed int
	// LastSent is when a push service last accepted a message; zero: never.
	LastSent time.Time
	// Alarms are push services that refuse us for good, by host name. An
	// alarm ends when that service accepts a message again.
	Alarms []Alarm
	// Silent are push services that failed several times in a row, by host name.
	Silent []string
	// Trouble is why the outbox cannot be read or written; empty when all is well.
	Trouble string
}

// Alarm is a push service that refuses us in a way that only a person can mend.
type Alarm struct {
	Host   string
	Status int
	// Error is why, where there is more to say than the status; for the mail server.
	Error string
	// Since is the first refusal, Last the newest.
	Since, Last time.Time
	Count       int
}

// Text says in words what happened and what to do.
func (a Alarm) Text(say *words.Language) string {
	if a.Host == coordinator.MailHost {
		return say.Say("alarm.mail", "error", strings.TrimSuffix(a.Error, "."))
	}
	key := "alarm.refused"
	switch a.Status {
	case 400:
		key = "alarm.malformed"
	case 401, 403:
		key = "alarm.key"
	}
	return say.Say(key, "host", a.Host, "status", a.Status)
}

// TroubleText says in words that the outbox cannot be read or written.
func (h *Health) TroubleText(say *words.Language) string {
	return say.Say("alarm.store", "error", h.Trouble)
}

// record is the Health under its lock.
type record struct {
	mu     sync.Mutex
	health Health
	alarms map[string]Alarm
	fails  map[string]int // in a row, by host
}

func (r *record) snapshot() Health {
	r.mu.Lock()
	defer r.mu.Unlock()
	h := r.health
	h.Alarms = slices.SortedFunc(maps.Values(r.alarms), func(a, b Alarm) int { return strings.Compare(a.Host, b.Host) })
	for host, n := range r.fails {
		if n >= tripAfter {
			h.Silent = append(h.Silent, host)
		}
	}
	slices.Sort(h.Silent)
	return h
}

func (r *record) trouble(text string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.health.Trouble = text
}

// answered counts an answer of host. It reports whether a new alarm began.
func (r *record) answered(host string, v verdict, answer Result, now time.Time) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.count(host, v, answer)
	switch v {
	case served:
		r.health.Sent++
		r.health.LastSent = now
		delete(r.alarms, host)
	case again:
		r.health.Retried++
	case gone:
		r.health.Gone++
	case hopeless, tooLarge:
		r.health.Failed++
	case refused:
		r.health.Failed++
		return r.alarm(host, answer, now)
	}
	return false
}

// count counts failures in a row of a push service as a whole.
func (r *record) count(host string, v verdict, answer Result) {
	switch {
	case v == hopeless && answer.Status == 0:
	case v != again, answer.Status == 429, answer.OnlyThis:
		delete(r.fails, host)
	default:
		if r.fails == nil {
			r.fails = map[string]int{}
		}
		r.fails[host]++
	}
}

func (r *record) alarm(host string, answer Result, now time.Time) bool {
	a, known := r.alarms[host]
	if !known {
		a = Alarm{Host: host, Since: now}
	}
	fresh := !known || a.Status != answer.Status
	a.Status, a.Last, a.Count = answer.Status, now, a.Count+1
	if a.Error = ""; answer.Err != nil {
		a.Error = cut(tidy(answer.Err.Error()), longestError)
	}
	if r.alarms == nil {
		r.alarms = map[string]Alarm{}
	}
	r.alarms[host] = a
	return fresh
}
