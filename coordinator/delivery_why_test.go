package coordinator

import (
	"slices"
	"testing"
)

// TestTroubleOfADevice: each outcome has one trouble, whatever else is known of it.
func TestTroubleOfADevice(t *testing.T) {
	mail := MailDevice("a")
	for _, c := range []struct {
		name string
		d    DeviceResult
		want Trouble
	}{
		{"served", DeviceResult{Device: "d", Sent: true, Status: 201, Tries: 1}, TroubleNone},
		{"served at the second try, with what was wrong before", DeviceResult{Device: "d", Sent: true, Status: 201, Error: "x", Tries: 2}, TroubleNone},
		{"ended", DeviceResult{Device: "d", Gone: true, Status: 410, Tries: 1}, TroubleGone},
		{"never tried", DeviceResult{Device: "d"}, TroubleSpared},
		{"never tried, an address", DeviceResult{Device: mail}, TroubleSpared},
		{"a letter refused", DeviceResult{Device: mail, Status: 550, Error: "no such mailbox", Tries: 1}, TroubleLetter},
		{"a letter without an answer", DeviceResult{Device: mail, Error: "no route", Tries: 1}, TroubleLetter},
		{"too large", DeviceResult{Device: "d", Status: 413, Tries: 2}, TroubleTooLarge},
		{"no answer", DeviceResult{Device: "d", Error: "no route", Tries: 3}, TroubleSilent},
		{"answered, and not counted", DeviceResult{Device: "d", Status: 503}, TroubleAnswered},
		{"refused", DeviceResult{Device: "d", Status: 403, Tries: 1}, TroubleAnswered},
		{"redirected", DeviceResult{Device: "d", Status: 307, Tries: 1}, TroubleAnswered},
	} {
		if got := c.d.Trouble(); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
		if c.want != TroubleNone && !slices.Contains(Troubles(), c.want) {
			t.Errorf("%q is not listed", c.want)
		}
	}
}

func TestServed(t *testing.T) {
	d := Delivery{Devices: []DeviceResult{
		{Device: "d1", Sent: true}, {Device: "d2"}, {Device: MailDevice("a"), Sent: true}, {Device: "d3", Sent: true}, {Device: MailDevice("b"), Gone: true},
	}}
	if phones, letters := d.Served(); phones != 2 || letters != 1 {
		t.Errorf("%d phones, %d letters", phones, letters)
	}
}

// TestKnownWhys: every reason of a decision is one of a row; a sentence is not.
func TestKnownWhys(t *testing.T) {
	for _, r := range []Reason{ReasonNow, ReasonLater, ReasonReplaced, ReasonUnwanted, ReasonMuted, ReasonLate, ReasonNoWay, ReasonMovedOut} {
		if !Why(r).Known() {
			t.Errorf("%q is not known", r)
		}
	}
	for _, w := range []Why{"", "reached no device", "sent to one device", "Retry"} {
		if w.Known() {
			t.Errorf("%q counts as a reason", w)
		}
	}
	if all := Whys(); len(all) != 14 || !all[0].Known() {
		t.Errorf("%q", all)
	}
	Whys()[0] = "changed"
	if !Whys()[0].Known() {
		t.Error("the list can be changed from outside")
	}
}
