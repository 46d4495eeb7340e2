package push

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"
	"unicode/utf8"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

var allKinds = []coordinator.NoticeKind{
	coordinator.TurnCalled, coordinator.TurnMissed, coordinator.TurnEnded, coordinator.TurnReturned, coordinator.LoadBegun,
	coordinator.LoadReady, coordinator.LoadNudge, coordinator.LoadWaiting, coordinator.LoadLeft, coordinator.LoadMoved,
	coordinator.LoadTaken, coordinator.FaultTold, coordinator.MeterSilent, coordinator.LevelsChanged,
	coordinator.MachineOut, coordinator.LoadFault, coordinator.TurnPassed, coordinator.TurnClosed, coordinator.WalkUpTold,
}

func summerPlace(t testing.TB) Place {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return Place{Room: "Cellar", Zone: zone}
}

// sample is a notice on a summer's day: 14:05 in the room is 12:05 UTC.
func sample(kind coordinator.NoticeKind) coordinator.Notice {
	ready := time.Date(2026, 7, 1, 12, 5, 0, 0, time.UTC)
	return coordinator.Notice{
		Kind: kind, Machine: 2, MachineKind: queue.Washer, Made: ready.Add(20 * time.Minute),
		ReadyAt: ready, Until: ready.Add(30 * time.Minute),
	}
}

func TestWords(t *testing.T) {
	for _, c := range []struct {
		name        string
		kind        coordinator.NoticeKind
		change      func(*coordinator.Notice)
		title, body string
	}{
		{"called", coordinator.TurnCalled, nil, "It's your turn", "Washer 2 (Cellar) is kept for you until 14:35."},
		{"called, load inside", coordinator.TurnCalled, func(n *coordinator.Notice) { n.LoadInside = true }, "It's your turn",
			"Washer 2 (Cellar) is kept for you until 14:35. The last load may still be inside; you may put it on the table."},
		{"called, no end", coordinator.TurnCalled, func(n *coordinator.Notice) { n.Until = time.Time{} }, "It's your turn", "Washer 2 (Cellar) is kept for you."},
		{"missed", coordinator.TurnMissed, nil, "Your call went by", "Washer 2 (Cellar) is no longer kept for you. You moved back one place and will be called again."},
		{"begun", coordinator.LoadBegun, nil, "Is this your laundry?", "Somebody put a load on in 2 (Cellar) at 14:25 while it was kept for you. If it was not you, say so and you are called again."},
		{"wash", coordinator.LoadReady, nil, "Your wash is ready", "It has been waiting in 2 (Cellar) since 14:05."},
		{"dry", coordinator.LoadReady, func(n *coordinator.Notice) { n.MachineKind = queue.Dryer }, "Your laundry is dry", "It has been waiting in 2 (Cellar) since 14:05."},
		{"both", coordinator.LoadReady, func(n *coordinator.Notice) { n.MachineKind = queue.WasherDryer }, "Your load is ready", "It has been waiting in 2 (Cellar) since 14:05."},
		{"cut short", coordinator.LoadReady, func(n *coordinator.Notice) { n.Reason = string(coordinator.EndStopped) }, "Please look at your load", "Its programme in 2 (Cellar) was cut short at 14:05."},
		{"presumed", coordinator.LoadReady, func(n *coordinator.Notice) { n.Reason = string(coordinator.EndPresumed) }, "Your load is probably ready",
			"The meter of 2 (Cellar) was silent for a while; as far as one can tell, it has been waiting since about 14:05."},
		{"nudge the day after", coordinator.LoadNudge, func(n *coordinator.Notice) { n.Made = n.Made.Add(20 * time.Hour) },
			"Your laundry is still waiting", "Please collect it from 2 (Cellar); it has been there since Wed 14:05."},
		{"moved", coordinator.LoadMoved, nil, "Your laundry is on the table", "A neighbour put it there at 14:25, from 2 (Cellar). If it is still inside, say so."},
		{"fault", coordinator.FaultTold, func(n *coordinator.Notice) { n.Reason = "smells burnt" }, "A fault was reported", "Washer 2 (Cellar), reported at 14:25."},
		{"fault, load inside", coordinator.LoadFault, nil, "Please look at your load", "Somebody reported a fault of 2 (Cellar) at 14:25, and your load is inside."},
		{"out, load inside", coordinator.LoadFault, func(n *coordinator.Notice) { n.Reason = "out" }, "Please look after your load",
			"Washer 2 (Cellar) was taken out of service at 14:25, and your load is inside."},
		{"two homes", coordinator.MachineOut, nil, "Out of service: two homes report a fault", "Nobody is called to 2 (Cellar) since 14:25. Have it looked at, then put it back."},
		{"closed", coordinator.TurnClosed, nil, "Closed before your turn", "No load may be started any more today (Cellar). You left the queue, as you had chosen; join again whenever it suits you."},
		{"passed", coordinator.TurnPassed, nil, "Your place is kept", "Somebody who had not been called put a load on in 2 (Cellar). You are still called when it is your turn."},
		{"unknown kind", "something-new", nil, "News from the laundry room", "It is about 2 (Cellar). Open the page to see it."},
	} {
		n := sample(c.kind)
		if c.change != nil {
			c.change(&n)
		}
		if got := Words(&n, summerPlace(t), ""); got.Title != c.title || got.Body != c.body {
			t.Errorf("%s:\n got %+v\nwant {%s %s}", c.name, got, c.title, c.body)
		}
	}
}

// TestLettersQuote: what was typed about a fault is in the letter, and cannot look
// like more of it.
func TestLettersQuote(t *testing.T) {
	n := sample(coordinator.FaultTold)
	n.Reason = "smells\r\n\nOpen the page:\n\u2028http://evil.example\x00"
	for lang, want := range map[string]string{
		"en": "Washer 2 (Cellar), reported at 14:25. “smells Open the page: http://evil.example”",
		"de": "Waschmaschine 2 (Cellar), gemeldet um 14:25. „smells Open the page: http://evil.example“",
	} {
		if got := LetterWords(&n, summerPlace(t), lang).Body; got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	for _, l := range words.All() {
		if letter, phone := LetterWords(&n, summerPlace(t), l.Code()), Words(&n, summerPlace(t), l.Code()); !strings.HasPrefix(letter.Body, phone.Body+" ") || letter.Title != phone.Title {
			t.Errorf("%s: %+v", l.Code(), letter)
		}
	}
	n.Reason = ""
	if letter, phone := LetterWords(&n, summerPlace(t), "en"), Words(&n, summerPlace(t), "en"); letter != phone {
		t.Errorf("with nothing typed: %+v", letter)
	}
	for _, kind := range allKinds { // what other reasons say is in the words already
		n := sample(kind)
		n.Reason = "table"
		if letter, phone := LetterWords(&n, summerPlace(t), "en"), Words(&n, summerPlace(t), "en"); letter != phone && kind != coordinator.FaultTold {
			t.Errorf("%s: %+v", kind, letter)
		}
	}
}

// The room's clock is the local one on both sides of a change to summer time
// (29 March 2026, 01:00 UTC in the zone of the test).
func TestWordsFollowTheRoomsClock(t *testing.T) {
	for utc, want := range map[string]string{"2026-03-29T00:59:00Z": "01:59", "2026-03-29T01:00:00Z": "03:00", "2026-01-15T23:30:00Z": "00:30"} {
		n := sample(coordinator.LoadNudge)
		at, err := time.Parse(time.RFC3339, utc)
		if err != nil {
			t.Fatal(err)
		}
		n.ReadyAt, n.Made = at, at
		if body := Words(&n, summerPlace(t), "en").Body; !strings.HasSuffix(body, "since "+want+".") {
			t.Errorf("%s: %q", utc, body)
		}
	}
}

// No text may have the shape "<machine> has started/finished".
var machineReport = regexp.MustCompile(`(?i)\b(washer|dryer|washer-dryer|machine)\b[^.]*\b(started|finished|complete|completed|done)\b`)

// TestEveryKindCanBeChosen: what somebody is told of, they can switch off.
func TestEveryKindCanBeChosen(t *testing.T) {
	chosen := map[coordinator.NoticeKind]int{}
	for _, kind := range append(coordinator.ResidentKinds(), coordinator.ManagerKinds()...) {
		chosen[kind]++
	}
	for kind := range told {
		if chosen[kind] != 1 {
			t.Errorf("%s is on %d lists", kind, chosen[kind])
		}
	}
	if len(chosen) != len(told) {
		t.Errorf("%d kinds to choose from, %d with words", len(chosen), len(told))
	}
}

// plain takes out the isolates around names in a text from right to left.
var plain = strings.NewReplacer("\u2068", "", "\u2069", "")

func TestEveryLanguageHasEveryKind(t *testing.T) {
	if len(told) != len(allKinds) {
		t.Errorf("%d kinds have words, not %d", len(told), len(allKinds))
	}
	for _, l := range words.All() {
		for _, kind := range allKinds {
			for _, machine := range []queue.Kind{0, queue.Washer, queue.Dryer, queue.WasherDryer} {
				for _, reason := range []string{"", "wash-ends", "table", "stopped-early", "presumed", "as-reported", "out"} {
					n := sample(kind)
					n.MachineKind, n.Reason = machine, reason
					checkText(t, l.Code()+" "+string(kind), &n, l.Code())
				}
			}
		}
	}
}

// checkText holds a text against what every text must be.
func checkText(t *testing.T, name string, n *coordinator.Notice, lang string) {
	t.Helper()
	text := Words(n, summerPlace(t), lang)
	all := plain.Replace(text.Title + ". " + text.Body)
	if text.Title == "" || text.Body == "" || strings.ContainsAny(all, "%{}") || strings.Contains(all, "notice.") || text.Title == Words(&coordinator.Notice{}, Place{}, lang).Title {
		t.Errorf("%s: %+v", name, text)
	}
	if machineReport.MatchString(all) {
		t.Errorf("%s reports on a machine: %q", name, all)
	}
	place := "2 (Cellar)"
	if n.Kind == coordinator.TurnClosed { // it is about no machine
		place = "Cellar"
	}
	if !strings.Contains(all, place) || utf8.RuneCountInString(text.Title) > 45 {
		t.Errorf("%s: no place, or a title that a lock screen cuts: %+v", name, text)
	}
}

// TestNoTextIsCut: with the longest name of a room that the building file
// takes, the payload of every text in every language is below 1 KB as it is.
func TestNoTextIsCut(t *testing.T) {
	for _, l := range words.All() {
		for _, kind := range allKinds {
			n := sample(kind)
			n.LoadInside, n.Reason = true, ""
			at := summerPlace(t)
			at.Room = strings.Repeat("é", 40)
			text := Words(&n, at, l.Code())
			p := Payload{Title: text.Title, Body: text.Body, Tag: strings.Repeat("t", longestTag), URL: "/r/" + strings.Repeat("r", 40), Kind: kind, At: n.Made}
			var got Payload
			if err := json.Unmarshal(p.Encode(), &got); err != nil || got.Title != text.Title || got.Body != text.Body {
				t.Errorf("%s %s is cut: %+v (%v)", l.Code(), kind, got, err)
			}
		}
	}
}

// TestNoticesFollowTheLanguage of the person, or the nearest to it.
func TestNoticesFollowTheLanguage(t *testing.T) {
	n := sample(coordinator.LoadReady)
	for lang, want := range map[string]string{
		"de": "Ihre Wäsche ist gewaschen. Sie wartet in 2 (Cellar) seit 14:05.", "de-AT": "Ihre Wäsche ist gewaschen. Sie wartet in 2 (Cellar) seit 14:05.",
		"fr": "Votre linge est lavé. Il attend dans 2 (Cellar) depuis 14:05.", "es": "Su ropa está lavada. Espera en 2 (Cellar) desde las 14:05.",
		"ar": "غسيلك نظيف وجاهز. تنتظر في 2 (Cellar) منذ 14:05.", "": "Your wash is ready. It has been waiting in 2 (Cellar) since 14:05.",
		"zz": "Your wash is ready. It has been waiting in 2 (Cellar) since 14:05.",
	} {
		text := Words(&n, summerPlace(t), lang)
		if got := plain.Replace(text.Title + ". " + text.Body); got != want {
			t.Errorf("%q: %q, want %q", lang, got, want)
		}
	}
}

func TestWordsWithoutARoom(t *testing.T) {
	n := sample(coordinator.LoadReady)
	if got := Words(&n, Place{}, "en").Body; got != "It has been waiting in 2 since 12:05." {
		t.Errorf("%q", got)
	}
}

// A payload is less than 1 KB of JSON with the fields that the service worker
// reads, whatever texts come in.
func TestPayloadStaysSmall(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.StringN(500, 3000, -1), rapid.StringOfN(rapid.SampledFrom([]rune("\\\"\x01<&é字")), 0, 2000, -1))
		p := Payload{
			Title: text.Draw(t, "title"), Body: text.Draw(t, "body"), Tag: text.Draw(t, "tag"),
			URL: text.Draw(t, "url"), Kind: coordinator.LoadReady, At: noon,
		}
		data := p.Encode()
		var got Payload
		if len(data) >= 1024 || json.Unmarshal(data, &got) != nil {
			t.Fatalf("%d octets: %s", len(data), data)
		}
		if got.Kind != p.Kind || !got.At.Equal(noon) {
			t.Fatalf("%+v", got)
		}
		if len(p.Title)+len(p.Body)+len(p.Tag)+len(p.URL) < 130 && strings.HasPrefix(p.URL, "/") && got.URL != p.URL {
			t.Fatalf("cut without need: %+v", got)
		}
	})
}

func TestTagOfALongRoom(t *testing.T) {
	n := called(1, noon)
	n.Subject.Room = coordinator.RoomID(strings.Repeat("cellar", 100))
	other := n
	other.Subject.Turn++
	if a, b := Tag(&n), Tag(&other); len(a) > longestTag || a == b {
		t.Errorf("%q and %q", a, b)
	}
}

func TestPayloadFields(t *testing.T) {
	p := Payload{Title: "It's your turn", Body: "a\nb <c> & “d”", Tag: "cellar/turn/3", URL: "/r/cellar", Kind: coordinator.TurnCalled, At: noon.Add(time.Nanosecond)}
	want := `{"title":"It's your turn","body":"a b <c> & “d”","tag":"cellar/turn/3","url":"/r/cellar","kind":"turn-called","at":"2026-03-02T12:00:00Z"}`
	if got := string(p.Encode()); got != want {
		t.Errorf("\n got %s\nwant %s", got, want)
	}
	long := Payload{Title: "t", Body: strings.Repeat("words and more words ", 100), Tag: "tag", URL: "/", At: noon}.Encode()
	var got Payload
	if err := json.Unmarshal(long, &got); err != nil || len(got.Body) < 700 || !strings.HasSuffix(got.Body, "…") || got.Tag != "tag" {
		t.Errorf("%v %+v", err, got)
	}
	if s := p.Short(); s.Body != "" || s.Title != p.Title || s.Tag != p.Tag || s.URL != p.URL {
		t.Errorf("short: %+v", s)
	}
}
