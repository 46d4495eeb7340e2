package usage

import (
	"time"

	"drumturn/coordinator"
)

// Date is a day of the calendar.
type Date = coordinator.Date

// DateOf is the local day of an instant.
func DateOf(t time.Time, zone *time.Location) Date { return coordinator.DateOf(t, zone) }
