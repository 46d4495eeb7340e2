package coordinator

import "slices"

// Why is the reason of the last decision about a row of the outbox. It is
// stored. Rows of earlier editions hold an English sentence there: see Known.
type Why string

// The reasons; besides these a row that nobody was told of has the Reason that
// is most worth knowing of those in Told.
const (
	WhyRetry     Why = "retry"      // not sent everywhere yet: the next try is at NextAt
	WhyQuiet     Why = "quiet"      // quiet hours: sent at NextAt
	WhySent      Why = "sent"       // handed to those of Devices that are Sent
	WhyUnreached Why = "unreached"  // none of Devices could be reached
	WhyNoManager Why = "no-manager" // the building has no manager yet
	WhySettled   Why = "settled"    // its subject was settled before it was sent
)

var knownWhys = []Why{
	WhyRetry, WhyQuiet, WhySent, WhyUnreached, WhyNoManager, WhySettled,
	Why(ReasonNow), Why(ReasonLater), Why(ReasonReplaced), Why(ReasonUnwanted), Why(ReasonMuted), Why(ReasonLate), Why(ReasonNoWay), Why(ReasonMovedOut),
}

// Whys are all the reasons that a row may have.
func Whys() []Why { return slices.Clone(knownWhys) }

// Known reports whether it is one of the reasons; what is not is a sentence.
func (w Why) Known() bool { return slices.Contains(knownWhys, w) }

// Trouble says why a device was not served.
type Trouble string

// The troubles.
const (
	TroubleNone     Trouble = ""          // it was served
	TroubleGone     Trouble = "gone"      // its subscription had ended and was removed
	TroubleLetter   Trouble = "letter"    // the mail server did not take the e-mail: Error says why
	TroubleTooLarge Trouble = "too-large" // its push service found even the short message too large
	TroubleSpared   Trouble = "spared"    // not tried: its push service had not taken others either
	TroubleSilent   Trouble = "silent"    // its push service did not answer: Error says why
	TroubleAnswered Trouble = "answered"  // its push service answered Status
)

// Troubles are all of them but none.
func Troubles() []Trouble {
	return []Trouble{TroubleGone, TroubleLetter, TroubleTooLarge, TroubleSpared, TroubleSilent, TroubleAnswered}
}

// Trouble is what was wrong with the device at the last try.
func (d *DeviceResult) Trouble() Trouble {
	switch {
	case d.Sent:
		return TroubleNone
	case d.Gone:
		return TroubleGone
	case d.Tries == 0 && d.Status == 0:
		return TroubleSpared
	case d.ByMail():
		return TroubleLetter
	case d.Status == 413:
		return TroubleTooLarge
	case d.Status == 0:
		return TroubleSilent
	}
	return TroubleAnswered
}

// Served counts the phones and the addresses that have the notice.
func (d *Delivery) Served() (phones, letters int) {
	for i := range d.Devices {
		switch r := &d.Devices[i]; {
		case r.Sent && r.ByMail():
			letters++
		case r.Sent:
			phones++
		}
	}
	return phones, letters
}
