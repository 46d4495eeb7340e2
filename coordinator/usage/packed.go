package usage

import (
	"encoding/base64"
	"encoding/binary"
	"errors"
	"maps"
	"math"
	"slices"
	"time"

	"drumturn/coordinator"
)

// A stored sum is packed: an octet that tells the layout, its edition, then its
// numbers one after the other (varints as in encoding/binary), since a report of
// years reads thousands of them. What it is the sum of stands in its key. Earlier
// programs wrote JSON, which begins with "{"; that is read too.
const layout = 1

// head begins a packed sum.
func head(v int) []byte { return binary.AppendUvarint([]byte{layout}, uint64(max(v, 1))) }

// pack is the summary as it is stored.
func (s *Summary) pack() []byte {
	raw := packTime(packTime(head(s.V), s.Opens), s.Closes)
	raw = s.Hours.pack(s.Figures.pack(raw, s.V))
	if s.V >= outKnown {
		raw = append(raw, flag(s.OutAfter))
	}
	return raw
}

func (s *Summary) take(u *unpacking) {
	s.Opens, s.Closes = u.time(), u.time()
	s.Figures.take(u, s.V)
	s.Hours.take(u)
	s.OutAfter = s.V >= outKnown && u.next() != 0
}

// pack is the sum as it is stored. The week comes last, as most readers leave it packed.
func (m *MonthSum) pack() []byte {
	raw := packDate(packDate(head(m.V), m.First), m.Last)
	return append(m.Figures.pack(raw, m.V), m.Week...)
}

func (m *MonthSum) take(u *unpacking) {
	m.First, m.Last = u.date(), u.date()
	m.Figures.take(u, m.V)
	m.Week = u.octets(u.left())
}

// pack is the sums as they are stored, home by home.
func (h *homeSums) pack() []byte {
	raw := binary.AppendUvarint(head(h.V), uint64(len(h.Homes)))
	for _, id := range slices.Sorted(maps.Keys(h.Homes)) {
		raw = append(binary.AppendUvarint(raw, uint64(len(id))), id...)
		raw = binary.AppendVarint(raw, int64(h.Homes[id].Cycles))
		raw = packUsed(raw, h.Homes[id].Used)
	}
	return raw
}

// add adds packed sums.
func (h *homeSums) add(u *unpacking) {
	for range u.count() {
		id := u.octets(u.count())
		sum := h.Homes[coordinator.HomeID(id)]
		if sum == nil {
			sum = &HomeSum{}
			h.Homes[coordinator.HomeID(id)] = sum
		}
		sum.Cycles += u.int()
		u.eachUsed(func(used Used) { sum.Used = addUsed(sum.Used, used) })
	}
}

// flag is 1 for what is so.
func flag(so bool) byte {
	if so {
		return 1
	}
	return 0
}

// pack adds the figures as sums of an edition have them.
func (f *Figures) pack(raw []byte, v int) []byte {
	for _, n := range [...]int{f.Days, f.Cycles, f.StoppedEarly, f.Presumed, f.Starts, f.Collected, f.Missed} {
		raw = binary.AppendVarint(raw, int64(n))
	}
	for _, d := range [...]time.Duration{f.Running, f.RunningOpen, f.Open, f.Blocked, f.Unmetered} {
		raw = binary.AppendVarint(raw, int64(d))
	}
	if v >= outKnown {
		raw = binary.AppendVarint(raw, int64(f.Out))
	}
	raw = binary.BigEndian.AppendUint64(raw, math.Float64bits(f.CycleWh))
	return packUsed(f.Waits.pack(binary.AppendUvarint(raw, uint64(len(f.Waits.bins)))), f.Used)
}

func (f *Figures) take(u *unpacking, v int) {
	for _, n := range [...]*int{&f.Days, &f.Cycles, &f.StoppedEarly, &f.Presumed, &f.Starts, &f.Collected, &f.Missed} {
		*n = u.int()
	}
	for _, d := range [...]*time.Duration{&f.Running, &f.RunningOpen, &f.Open, &f.Blocked, &f.Unmetered} {
		*d = time.Duration(u.int())
	}
	if v >= outKnown {
		f.Out = time.Duration(u.int())
	}
	f.CycleWh = u.float()
	f.Waits.take(u, u.count())
	u.eachUsed(func(used Used) { f.Used = append(f.Used, used) })
}

func packUsed(raw []byte, all []Used) []byte {
	raw = binary.AppendUvarint(raw, uint64(len(all)))
	for _, used := range all {
		for _, n := range [...]int64{int64(used.Tariff), int64(used.Window), int64(used.Cycles), int64(used.Standby)} {
			raw = binary.AppendVarint(raw, n)
		}
	}
	return raw
}

func packTime(raw []byte, t time.Time) []byte {
	return binary.AppendUvarint(binary.AppendVarint(raw, t.Unix()), uint64(t.Nanosecond()))
}

func packDate(raw []byte, d Date) []byte {
	for _, n := range [...]int{d.Year, int(d.Month), d.Day} {
		raw = binary.AppendVarint(raw, int64(n))
	}
	return raw
}

var errPacked = errors.New("a packed sum is damaged")

// unpacking reads the numbers of a packed sum; after an error they are 0.
type unpacking struct {
	raw []byte
	at  int // of the next number
	err error
}

// unpack begins to read a packed text.
func unpack(text []byte) unpacking {
	raw, err := base64.RawStdEncoding.AppendDecode(nil, text)
	if err != nil {
		return unpacking{err: errPacked}
	}
	return unpacking{raw: raw}
}

func (u *unpacking) bad() { u.at, u.err = len(u.raw), errPacked }

func (u *unpacking) left() int { return len(u.raw) - u.at }

func (u *unpacking) next() uint64 {
	v, n := binary.Uvarint(u.raw[u.at:])
	if n <= 0 {
		u.bad()
		return 0
	}
	u.at += n
	return v
}

func (u *unpacking) int() int {
	v, n := binary.Varint(u.raw[u.at:])
	if n <= 0 {
		u.bad()
		return 0
	}
	u.at += n
	return int(v)
}

// count is how many things of at least an octet follow: never more than there
// are octets, so that damage cannot ask for much memory.
func (u *unpacking) count() int {
	n := u.next()
	if n > uint64(u.left()) {
		u.bad()
		return 0
	}
	return int(n)
}

func (u *unpacking) octets(n int) []byte {
	if n > u.left() {
		u.bad()
		return nil
	}
	u.at += n
	return u.raw[u.at-n : u.at]
}

func (u *unpacking) float() float64 {
	raw := u.octets(8)
	if raw == nil {
		return 0
	}
	f := math.Float64frombits(binary.BigEndian.Uint64(raw))
	if math.IsNaN(f) || math.IsInf(f, 0) {
		u.bad()
		return 0
	}
	return f
}

func (u *unpacking) time() time.Time {
	sec, ns := u.int(), u.next()
	if ns >= 1e9 {
		u.bad()
	}
	if u.err != nil {
		return time.Time{}
	}
	return time.Unix(int64(sec), int64(ns)).UTC()
}

func (u *unpacking) date() Date { return Date{Year: u.int(), Month: time.Month(u.int()), Day: u.int()} }

func (u *unpacking) eachUsed(fn func(Used)) {
	for range u.count() {
		used := Used{Tariff: u.int(), Window: u.int(), Cycles: MilliWh(u.int()), Standby: MilliWh(u.int())}
		if u.err == nil {
			fn(used)
		}
	}
}

// end is errPacked when something is left.
func (u *unpacking) end() error {
	if u.left() > 0 {
		return errPacked
	}
	return u.err
}
