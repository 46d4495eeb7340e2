package push

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// TestButtons: what each kind offers, in the language of who reads it. Kinds that
// only tell offer nothing, and those to managers neither.
func TestButtons(t *testing.T) {
	want := map[coordinator.NoticeKind]string{
		coordinator.LoadReady: "collected more-time", coordinator.LoadNudge: "collected more-time", coordinator.TurnCalled: "on-my-way let-next",
		coordinator.LoadBegun: "not-me", coordinator.LoadMoved: "still-inside", coordinator.LoadTaken: "still-inside",
	}
	for _, kind := range append(coordinator.ResidentKinds(), coordinator.ManagerKinds()...) {
		n := coordinator.Notice{Kind: kind, MoreTime: 10 * time.Minute}
		var does []string
		for _, b := range Buttons(&n, "en") {
			does = append(does, b.Do)
		}
		if got := strings.Join(does, " "); got != want[kind] {
			t.Errorf("%s offers %q, want %q", kind, got, want[kind])
		}
	}
}

// TestMoreTimeButton says how much there is, and is not there where there is none.
func TestMoreTimeButton(t *testing.T) {
	for _, c := range []struct {
		more time.Duration
		lang string
		want []Button
	}{
		{10 * time.Minute, "en", []Button{{"collected", "Collected"}, {"more-time", "10 more minutes"}}},
		{time.Minute, "en", []Button{{"collected", "Collected"}, {"more-time", "1 more minute"}}},
		{5 * time.Minute, "de-AT", []Button{{"collected", "Abgeholt"}, {"more-time", "Noch 5 Minuten"}}},
		{2 * time.Minute, "ar", []Button{{"collected", "أخذته"}, {"more-time", "دقيقتان إضافيتان"}}},
		{0, "en", []Button{{"collected", "Collected"}}},
		{59 * time.Second, "en", []Button{{"collected", "Collected"}}},
	} {
		n := coordinator.Notice{Kind: coordinator.LoadReady, MoreTime: c.more}
		if got := Buttons(&n, c.lang); !slices.Equal(got, c.want) {
			t.Errorf("%v in %s: %v, want %v", c.more, c.lang, got, c.want)
		}
	}
}

// TestNoticesWithButtonsFit: in every language, with long names of rooms, a
// notice of every kind stays below 1 KB whole, buttons and all.
func TestNoticesWithButtonsFit(t *testing.T) {
	room := strings.Repeat("غرفة ", 12) // 60 characters
	made := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
	for _, l := range words.All() {
		for _, kind := range coordinator.ResidentKinds() {
			n := coordinator.Notice{
				Subject: coordinator.Subject{Room: coordinator.RoomID(strings.Repeat("r", 40)), Load: 1_000_000}, Kind: kind, Machine: 12,
				MachineKind: queue.WasherDryer, Made: made, ReadyAt: made.AddDate(0, -1, 0), Until: made.AddDate(0, 1, 0), LoadInside: true, MoreTime: 10 * time.Minute,
			}
			text, url := Words(&n, Place{Room: room}, l.Code()), "/r/"+string(n.Subject.Room)
			p := Payload{Title: text.Title, Body: text.Body, Tag: Tag(&n), URL: url, Kind: kind, At: made, Post: url + "/loads/1000000", Buttons: Buttons(&n, l.Code())}
			data := p.Encode()
			var back Payload
			if err := json.Unmarshal(data, &back); err != nil || len(data) > longestPayload {
				t.Fatalf("%s %s: %d octets, %v", l.Code(), kind, len(data), err)
			}
			if back.Body != tidy(text.Body) || len(back.Buttons) != len(p.Buttons) {
				t.Errorf("%s %s does not fit whole: %s", l.Code(), kind, data)
			}
		}
	}
}

// TestButtonsGiveWay: where it does not fit, buttons are left out, but never
// without the path they belong to, and before the title is cut.
func TestButtonsGiveWay(t *testing.T) {
	p := Payload{Title: "Your load is ready", Body: "Soon.", Tag: "x", URL: "/r/a", Post: "/r/" + strings.Repeat("a", 900), Buttons: []Button{{"collected", "Collected"}}}
	var back Payload
	if err := json.Unmarshal(p.Encode(), &back); err != nil || back.Post != "" || back.Buttons != nil || back.Title != p.Title {
		t.Errorf("%+v, %v", back, err)
	}
	if len(p.Buttons) != 1 {
		t.Error("the payload itself was changed")
	}
	if s := p.Short(); s.Post != "" || s.Buttons != nil || s.Title != p.Title {
		t.Errorf("short: %+v", s)
	}
}
