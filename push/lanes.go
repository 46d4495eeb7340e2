package push

import (
	"time"

	"drumturn/coordinator"
)

// task is one message for one device.
type task struct {
	job *job
	target
	lane *lane
	// short: the push service found the full message too large.
	short bool
}

// lane is the queue of one push service.
type lane struct {
	host string
	circuit
	queue  []*task
	active int
}

// lanes are the queues of all push services. Each gets its share of the sends
// under way, so that one which does not answer holds up nobody else.
type lanes struct {
	most, mostPerHost, active int
	byHost                    map[string]*lane
	order                     []*lane
	turn                      int
}

// of is the lane of a device's push service.
func (l *lanes) of(device coordinator.Subscription) *lane {
	host := device.Host()
	ln := l.byHost[host]
	if ln == nil {
		ln = &lane{host: host}
		l.byHost[host] = ln
		l.order = append(l.order, ln)
	}
	return ln
}

// add puts a task behind all others of its service.
func (t *task) add() { t.lane.queue = append(t.lane.queue, t) }

// addFirst puts a task before all others of its service.
func (t *task) addFirst() { t.lane.queue = append([]*task{t}, t.lane.queue...) }

// next takes the next task that may start at now, of each service in turn; nil
// when none may.
func (l *lanes) next(now time.Time) *task {
	if l.active >= l.most {
		return nil
	}
	for range l.order {
		ln := l.order[l.turn%len(l.order)]
		l.turn++
		if len(ln.queue) > 0 && ln.active < ln.allows(now, l.mostPerHost) {
			t := ln.queue[0]
			ln.queue[0] = nil // the task is not to live as long as the queue
			ln.queue = ln.queue[1:]
			ln.active++
			l.active++
			return t
		}
	}
	return nil
}

// waiting reports whether a message waits for its turn.
func (l *lanes) waiting() bool {
	for _, ln := range l.order {
		if len(ln.queue) > 0 {
			return true
		}
	}
	return false
}

func (l *lanes) done(t *task) {
	l.active--
	t.lane.active--
}
