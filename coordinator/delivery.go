package coordinator

import "time"

// DeliveryState is where a stored notice is.
type DeliveryState string

// The states of a delivery. Only Pending rows are due again.
const (
	Pending   DeliveryState = "pending"
	Done      DeliveryState = "done"      // handed to every device that takes it
	Dropped   DeliveryState = "dropped"   // not wanted, no device, too late: Why says which
	Withdrawn DeliveryState = "withdrawn" // its subject was settled before it was sent
)

// Delivery is a row of the outbox: a notice and what became of it.
type Delivery struct {
	Key    string
	Notice Notice
	State  DeliveryState
	// NextAt is the earliest instant of the next try while Pending.
	NextAt time.Time
	Tries  int
	// Why is the reason of the last decision, for the log and the resident.
	Why string
	// Devices is what each device's push service answered.
	Devices []DeviceResult `json:",omitempty"`
	// Changed is when the row was last written.
	Changed time.Time
}

// DeviceResult is the outcome for one subscription.
type DeviceResult struct {
	// Device is the subscription's id.
	Device string
	// Sent is final success, Gone final failure (the subscription was removed).
	Sent, Gone bool
	Status     int    `json:",omitempty"` // the last HTTP status, 0 for none
	Error      string `json:",omitempty"`
	At         time.Time
	// Tries counts the attempts; Next is the instant of the next one, zero when
	// this device's outcome is final.
	Tries int       `json:",omitempty"`
	Next  time.Time `json:",omitzero"`
}
