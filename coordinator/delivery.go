package coordinator

import (
	"strings"
	"time"
)

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
	// Why is the reason of the last decision.
	Why Why
	// Told is what was decided about each person whom the notice may concern.
	Told []Told `json:",omitempty"`
	// Newer is a later notice of the same thread to the same addressee, made
	// while this one was pending; the store notes it when it creates that one.
	Newer *Newer `json:",omitempty"`
	// Devices is what each device's push service answered.
	Devices []DeviceResult `json:",omitempty"`
	// Changed is when the row was last written.
	Changed time.Time
}

// Reason says why a person is told of a notice, or is not. It is stored.
type Reason string

// The reasons.
const (
	ReasonNow      Reason = "now"       // told at once, on every device
	ReasonLater    Reason = "later"     // told when the person's quiet hours end
	ReasonReplaced Reason = "replaced"  // a newer notice of the same thread says more
	ReasonUnwanted Reason = "unwanted"  // the person did not ask for this kind
	ReasonMuted    Reason = "muted"     // the person wants to hear nothing for a while
	ReasonLate     Reason = "late"      // telling it is pointless by now
	ReasonNoWay    Reason = "no-way"    // the person has switched notices on nowhere
	ReasonMovedOut Reason = "moved-out" // the person no longer belongs to the building
)

// Told is the decision about one person.
type Told struct {
	Person PersonID
	// ForHome: not the addressee, but of the addressee's home.
	ForHome bool `json:",omitempty"`
	Reason  Reason
	// Until is when the person is told (ReasonLater), or hears again (ReasonMuted).
	Until time.Time `json:",omitzero"`
	At    time.Time
	// Mail is why an e-mail is sent as well, or is not; empty: there is no address.
	Mail MailReason `json:",omitempty"`
}

// MailReason says why a person is told by e-mail, or is not. It is stored.
type MailReason string

// The reasons.
const (
	MailAlso    MailReason = "also"    // asked for besides the phones
	MailOnly    MailReason = "only"    // no phone of theirs takes notices
	MailInstead MailReason = "instead" // none of their phones could be reached
	MailSpare   MailReason = "spare"   // not sent: their phones are told, and it is kept for when they cannot be
)

// ByMail reports whether an e-mail is sent.
func (m MailReason) ByMail() bool { return m != "" && m != MailSpare }

// Newer names a notice that says more.
type Newer struct {
	Kind NoticeKind
	Made time.Time
}

// DeviceResult is the outcome for one subscription.
type DeviceResult struct {
	// Device is the subscription's id, or MailDevice of the person.
	Device string
	// Person is whose device it was.
	Person PersonID `json:",omitempty"`
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

// mailDevice begins the id that an e-mail address has where devices are listed.
const mailDevice = "mail:"

// MailDevice is the id of a person's e-mail address among devices.
func MailDevice(person PersonID) string { return mailDevice + string(person) }

// ByMail reports whether the outcome is that of an e-mail.
func (d *DeviceResult) ByMail() bool { return strings.HasPrefix(d.Device, mailDevice) }
