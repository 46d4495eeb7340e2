package usage

import (
	"encoding/base64"
	"encoding/binary"
	"slices"
	"time"
)

// Hour is what happened in one hour of the clock, or in all hours of that name.
type Hour struct {
	// Observed is how much of such hours there was: two hours of 02:00 to 03:00 on
	// the day on which the clocks go back, none on the day on which they go forward.
	Observed time.Duration
	// Running is how long machines ran, added up over machines.
	Running time.Duration
	// Starts are the cycles that began.
	Starts int
	// Waiting is how long turns waited for their first call, added up over turns.
	Waiting time.Duration
}

// MachinesRunning is how many machines ran at a time, on average; 0 where nothing was observed.
func (h *Hour) MachinesRunning() float64 { return h.per(h.Running) }

// TurnsWaiting is how many turns waited at a time, on average.
func (h *Hour) TurnsWaiting() float64 { return h.per(h.Waiting) }

// StartsPerHour is how many cycles began in an hour, on average.
func (h *Hour) StartsPerHour() float64 {
	return h.per(time.Duration(h.Starts) * time.Hour)
}

func (h *Hour) per(d time.Duration) float64 {
	if h.Observed <= 0 {
		return 0
	}
	return float64(d) / float64(h.Observed)
}

// then adds the hour of another day.
func (h *Hour) then(o *Hour) {
	h.Observed += o.Observed
	h.Running += o.Running
	h.Starts += o.Starts
	h.Waiting += o.Waiting
}

// beside adds what happened in the same hour elsewhere.
func (h *Hour) beside(o *Hour) {
	observed := max(h.Observed, o.Observed)
	h.then(o)
	h.Observed = observed
}

// Hours are those of one local day, by the clock: Hours[14] is 14:00 to 15:00.
type Hours [24]Hour

// Week is the heat map: Week[time.Sunday][14] is 14:00 to 15:00 on Sundays, local time.
type Week [7]Hours

func (w *Week) then(o *Week) {
	for d := range w {
		for h := range w[d] {
			w[d][h].then(&o[d][h])
		}
	}
}

func (w *Week) beside(o *Week) {
	for d := range w {
		for h := range w[d] {
			w[d][h].beside(&o[d][h])
		}
	}
}

// observed reports whether the machine was one of the room's then; others are only
// named by facts.
func (h *Hours) observed() bool {
	return slices.ContainsFunc(h[:], func(hour Hour) bool { return hour.Observed > 0 })
}

// IsZero reports whether nothing was observed.
func (h Hours) IsZero() bool { return h == Hours{} }

// MarshalText packs the hours into a short text, in whole seconds.
func (h Hours) MarshalText() ([]byte, error) {
	return base64.RawStdEncoding.AppendEncode(nil, h.pack(nil)), nil
}

// UnmarshalText reads what MarshalText wrote.
func (h *Hours) UnmarshalText(text []byte) error {
	u := unpack(text)
	h.take(&u)
	return u.end()
}

// IsZero reports whether nothing was observed.
func (w Week) IsZero() bool { return w == Week{} }

// MarshalText packs the week into a short text, in whole seconds.
func (w Week) MarshalText() ([]byte, error) {
	return base64.RawStdEncoding.AppendEncode(nil, w.pack(nil)), nil
}

// UnmarshalText reads what MarshalText wrote.
func (w *Week) UnmarshalText(text []byte) error {
	u := unpack(text)
	w.take(&u)
	return u.end()
}

func (w *Week) pack(raw []byte) []byte {
	for d := range w {
		raw = w[d].pack(raw)
	}
	return raw
}

func (w *Week) take(u *unpacking) {
	for d := range w {
		w[d].take(u)
	}
}

func (h *Hours) pack(raw []byte) []byte {
	for i := range h {
		raw = binary.AppendUvarint(raw, uint64(h[i].Observed/time.Second))
		raw = binary.AppendUvarint(raw, uint64(h[i].Running/time.Second))
		raw = binary.AppendUvarint(raw, uint64(h[i].Starts))
		raw = binary.AppendUvarint(raw, uint64(h[i].Waiting/time.Second))
	}
	return raw
}

func (h *Hours) take(u *unpacking) {
	seconds := func() time.Duration { return time.Duration(u.next()) * time.Second }
	for i := range h {
		h[i].Observed, h[i].Running, h[i].Starts, h[i].Waiting = seconds(), seconds(), int(u.next()), seconds()
	}
}

// eachHour calls fn for the pieces of a stretch of time that lie within one hour
// of the clock, in order.
func eachHour(from, to time.Time, zone *time.Location, fn func(hour int, from, to time.Time)) {
	for from.Before(to) {
		local := from.In(zone)
		end := from.Add(time.Hour - time.Duration(local.Minute())*time.Minute - time.Duration(local.Second())*time.Second - time.Duration(local.Nanosecond()))
		if _, change := local.ZoneBounds(); !change.IsZero() && change.Before(end) {
			end = change
		}
		if to.Before(end) {
			end = to
		}
		fn(local.Hour(), from, end)
		from = end
	}
}
