package usage

import (
	"fmt"
	"net/url"
	"strings"
	"time"

	"drumturn/coordinator"
)

// The keys of stored sums. A room's days lie together machine by machine, in the
// order of dates, so that a range of dates is a range of keys:
//
//	ROOM/MACHINE/2026-11-25      a day; the machine is empty for the room's own sum
//	~month/ROOM/MACHINE/2026-11  a month, made of its days
//
// "~" comes after every letter that a room's id may begin with.
const monthsOf = "~month/"

// place is where the sums of a machine, or of a room without one, are.
func place(room coordinator.RoomID, machine coordinator.MachineID) string {
	return string(room) + "/" + url.PathEscape(string(machine)) + "/"
}

// rollupKey is the key of a day.
func rollupKey(room coordinator.RoomID, machine coordinator.MachineID, date Date) string {
	return place(room, machine) + date.String()
}

// monthKey is the key of a month.
func monthKey(room coordinator.RoomID, machine coordinator.MachineID, m Month) string {
	return monthsOf + place(room, machine) + m.String()
}

// machineIn is the machine in a key that begins with prefix, which ends before
// the machine.
func machineIn(key, prefix string) coordinator.MachineID {
	name, _, _ := strings.Cut(strings.TrimPrefix(key, prefix), "/")
	plain, err := url.PathUnescape(name)
	if err != nil {
		return coordinator.MachineID(name)
	}
	return coordinator.MachineID(plain)
}

// Month is a month of the calendar. The zero value is none.
type Month struct {
	Year  int
	Month time.Month
}

// MonthOf is the month that a date lies in.
func MonthOf(d Date) Month { return Month{d.Year, d.Month} }

// First is the month's first day, Last its last.
func (m Month) First() Date { return Date{Year: m.Year, Month: m.Month, Day: 1} }

// Last is the month's last day.
func (m Month) Last() Date { return m.Next().First().Add(-1) }

// Next is the month after.
func (m Month) Next() Month { return MonthOf(m.First().Add(31)) }

// Before reports whether m comes before other.
func (m Month) Before(other Month) bool { return m.First().Before(other.First()) }

// String is the month as ISO 8601 has it: "2026-11".
func (m Month) String() string { return fmt.Sprintf("%04d-%02d", m.Year, int(m.Month)) }

// ParseMonth reads what String gives.
func ParseMonth(text string) (Month, error) {
	t, err := time.Parse("2006-01", text)
	if err != nil {
		return Month{}, fmt.Errorf("%q is no month: write it like 2026-11", text)
	}
	return Month{t.Year(), t.Month()}, nil
}
