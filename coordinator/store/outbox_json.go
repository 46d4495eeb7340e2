package store

import (
	"encoding/json"
	"strconv"
	"time"

	"drumturn/coordinator"
)

// writer writes JSON as encoding/json does, octet for octet, but without looking at
// types: rows of the outbox are written twice for each notice, and were a good part
// of what a notice costs besides its sending. A test compares the two, with every
// field set, so that a new one cannot be forgotten here.
type writer struct {
	b   []byte
	err error // the first
}

// encodeRow is json.Marshal of a row.
func encodeRow(d *coordinator.Delivery) ([]byte, error) {
	w := writer{b: make([]byte, 0, 768)}
	w.delivery(d)
	return w.b, w.err
}

func (w *writer) delivery(d *coordinator.Delivery) {
	w.text(`{"Key":`, d.Key)
	w.notice(`,"Notice":`, &d.Notice)
	w.text(`,"State":`, string(d.State))
	w.time(`,"NextAt":`, d.NextAt)
	w.number(`,"Tries":`, int64(d.Tries))
	w.text(`,"Why":`, string(d.Why))
	w.told(d.Told)
	if d.Newer != nil {
		w.text(`,"Newer":{"Kind":`, string(d.Newer.Kind))
		w.time(`,"Made":`, d.Newer.Made)
		w.b = append(w.b, '}')
	}
	w.devices(d.Devices)
	w.time(`,"Changed":`, d.Changed)
	w.b = append(w.b, '}')
}

func (w *writer) notice(name string, n *coordinator.Notice) {
	w.text(name+`{"Subject":{"Room":`, string(n.Subject.Room))
	w.count(`,"Turn":`, uint64(n.Subject.Turn))
	w.count(`,"Load":`, uint64(n.Subject.Load))
	w.filled(`,"Machine":`, string(n.Subject.Machine))
	w.text(`},"Kind":`, string(n.Kind))
	w.number(`,"Step":`, int64(n.Step))
	w.filled(`,"To":`, string(n.To))
	w.filled(`,"Role":`, string(n.Role))
	w.time(`,"Made":`, n.Made)
	w.time(`,"UsefulUntil":`, n.UsefulUntil)
	w.number(`,"Machine":`, int64(n.Machine))
	w.text(`,"MachineKind":`, n.MachineKind.String())
	w.known(`,"Until":`, n.Until)
	w.known(`,"ReadyAt":`, n.ReadyAt)
	w.yes(`,"LoadInside":`, n.LoadInside)
	w.filled(`,"Reason":`, n.Reason)
	if n.MoreTime != 0 {
		w.number(`,"MoreTime":`, int64(n.MoreTime))
	}
	w.b = append(w.b, '}')
}

func (w *writer) told(all []coordinator.Told) {
	for i := range all {
		t := &all[i]
		w.text(first(i, `,"Told":[`)+`{"Person":`, string(t.Person))
		w.yes(`,"ForHome":`, t.ForHome)
		w.text(`,"Reason":`, string(t.Reason))
		w.known(`,"Until":`, t.Until)
		w.time(`,"At":`, t.At)
		w.filled(`,"Mail":`, string(t.Mail))
		w.b = append(w.b, '}')
	}
	w.end(len(all))
}

func (w *writer) devices(all []coordinator.DeviceResult) {
	for i := range all {
		d := &all[i]
		w.text(first(i, `,"Devices":[`)+`{"Device":`, d.Device)
		w.filled(`,"Person":`, string(d.Person))
		w.flag(`,"Sent":`, d.Sent)
		w.flag(`,"Gone":`, d.Gone)
		if d.Status != 0 {
			w.number(`,"Status":`, int64(d.Status))
		}
		w.filled(`,"Error":`, d.Error)
		w.time(`,"At":`, d.At)
		if d.Tries != 0 {
			w.number(`,"Tries":`, int64(d.Tries))
		}
		w.known(`,"Next":`, d.Next)
		w.b = append(w.b, '}')
	}
	w.end(len(all))
}

// first is what stands before element i of a list that begins with open.
func first(i int, open string) string {
	if i == 0 {
		return open
	}
	return ","
}

// end closes a list of n elements; an empty one was left out.
func (w *writer) end(n int) {
	if n > 0 {
		w.b = append(w.b, ']')
	}
}

// text writes a string after a name. One that needs any escape is left to the library.
func (w *writer) text(name, s string) {
	w.b = append(w.b, name...)
	for i := range len(s) {
		if c := s[i]; c < ' ' || c >= 0x7f || c == '"' || c == '\\' || c == '<' || c == '>' || c == '&' {
			data, err := json.Marshal(s)
			w.b = append(w.b, data...)
			w.fail(err)
			return
		}
	}
	w.b = append(w.b, '"')
	w.b = append(w.b, s...)
	w.b = append(w.b, '"')
}

// filled is text where there is any.
func (w *writer) filled(name, s string) {
	if s != "" {
		w.text(name, s)
	}
}

func (w *writer) number(name string, n int64) {
	w.b = strconv.AppendInt(append(w.b, name...), n, 10)
}

// count writes a number that is not 0.
func (w *writer) count(name string, n uint64) {
	if n != 0 {
		w.b = strconv.AppendUint(append(w.b, name...), n, 10)
	}
}

func (w *writer) flag(name string, v bool) {
	w.b = strconv.AppendBool(append(w.b, name...), v)
}

// yes writes a flag that is true.
func (w *writer) yes(name string, v bool) {
	if v {
		w.flag(name, v)
	}
}

func (w *writer) time(name string, t time.Time) {
	w.b = append(append(w.b, name...), '"')
	out, err := t.AppendText(w.b)
	w.fail(err)
	if err == nil {
		w.b = append(out, '"')
	}
}

// known writes an instant that is not zero.
func (w *writer) known(name string, t time.Time) {
	if !t.IsZero() {
		w.time(name, t)
	}
}

func (w *writer) fail(err error) {
	if w.err == nil {
		w.err = err
	}
}
