package ui

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// TestEveryReasonHasWords: whatever a row says of why it stands as it does, and
// of what was wrong with a device, is in the catalogue.
func TestEveryReasonHasWords(t *testing.T) {
	for _, why := range coordinator.Whys() {
		if !words.English().Has("outcome."+string(why)) && why != coordinator.WhySent {
			t.Errorf("no words for %q", why)
		}
	}
	for _, trouble := range coordinator.Troubles() {
		if !words.English().Has("outcome.trouble." + string(trouble)) {
			t.Errorf("no words for %q", trouble)
		}
	}
}

// TestWhyARow: the manager's log says it in the reader's language; rows of
// earlier editions keep their sentence.
func TestWhyARow(t *testing.T) {
	sent := coordinator.DeviceResult{Device: "d1", Sent: true, Status: 201, Tries: 1}
	letter := coordinator.DeviceResult{Device: coordinator.MailDevice("a"), Sent: true, Status: 250, Tries: 1}
	refused := coordinator.DeviceResult{Device: "d2", Status: 403, Tries: 1}
	for _, c := range []struct {
		lang, want string
		row        coordinator.Delivery
	}{
		{"en", "sent to 1 device", coordinator.Delivery{State: coordinator.Done, Why: coordinator.WhySent, Devices: []coordinator.DeviceResult{sent}}},
		{"de", "an 2 Geräte gesendet; an 1 E-Mail-Adresse gesendet; der Push-Dienst antwortete 403",
			coordinator.Delivery{State: coordinator.Done, Why: coordinator.WhySent, Devices: []coordinator.DeviceResult{sent, sent, letter, refused, refused}}},
		{"en", "not sent everywhere yet: next try at 12:52; the push service answered 429 (busy); no answer from the push service (no route)",
			coordinator.Delivery{State: coordinator.Pending, Why: coordinator.WhyRetry, NextAt: noon.Add(5 * time.Minute), Devices: []coordinator.DeviceResult{
				{Device: "d1", Status: 429, Error: "busy", Tries: 1}, {Device: "d2", Error: "no route", Tries: 2}}}},
		{"fr", "heures calmes : envoyé à 12:52", coordinator.Delivery{State: coordinator.Pending, Why: coordinator.WhyQuiet, NextAt: noon.Add(5 * time.Minute)}},
		{"en", "no device: notices are not switched on; next try at 12:57",
			coordinator.Delivery{State: coordinator.Pending, Why: coordinator.Why(coordinator.ReasonNoWay), NextAt: noon.Add(10 * time.Minute)}},
		{"en", "muted: wants to hear nothing for a while", coordinator.Delivery{State: coordinator.Dropped, Why: coordinator.Why(coordinator.ReasonMuted)}},
		{"es", "resuelto antes de enviarse", coordinator.Delivery{State: coordinator.Withdrawn, Why: coordinator.WhySettled}},
		{"de", "reached no device; the push service answered 410", coordinator.Delivery{State: coordinator.Dropped, Why: "reached no device; the push service answered 410", Devices: []coordinator.DeviceResult{refused}}},
		{"en", "reached no device; the push service had not taken others either; the e-mail was not taken (no such mailbox); a device’s subscription had ended and was removed; the push service found even the short message too large",
			coordinator.Delivery{State: coordinator.Dropped, Why: coordinator.WhyUnreached, Devices: []coordinator.DeviceResult{
				{Device: "d1"}, {Device: coordinator.MailDevice("a"), Error: "no such mailbox", Tries: 1}, {Device: "d2", Gone: true, Status: 410, Tries: 1}, {Device: "d3", Status: 413, Tries: 2}}}},
	} {
		tell := teller{now: noon, zone: time.UTC, lang: words.For(c.lang)}
		if got := tell.rowWhy(&c.row); got != c.want {
			t.Errorf("%s %s: %q, want %q", c.lang, c.row.Why, got, c.want)
		}
	}
}

// TestRowsOfEarlierEditionsStillRead: their reason was a sentence.
func TestRowsOfEarlierEditionsStillRead(t *testing.T) {
	const stored = `{"Key":"k","State":"dropped","NextAt":"2026-01-02T03:04:05Z","Tries":1,"Why":"too late to be of use","Changed":"2026-01-02T03:04:05Z"}`
	var row coordinator.Delivery
	if err := json.NewDecoder(strings.NewReader(stored)).Decode(&row); err != nil || row.Why.Known() {
		t.Fatalf("%+v, %v", row, err)
	}
	if got := (teller{now: noon, zone: time.UTC, lang: words.For("ar")}).rowWhy(&row); got != "too late to be of use" {
		t.Errorf("%q", got)
	}
}
