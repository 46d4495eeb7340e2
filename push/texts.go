package push

import (
	"strconv"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// Text is what the phone shows.
type Text struct{ Title, Body string }

// Place is where and on whose clock a notice happens.
type Place struct {
	Room string         // the room's name
	Zone *time.Location // the room's zone; nil means UTC
}

// Words puts a notice into words of the language with the BCP 47 tag lang, or of
// the nearest one there is (de-AT: de), or English. They are for a phone, whose
// lock screen others read too: the machine, the room and the time of day, and
// nothing of or by a person. A kind that is not known gets words that lead to the page.
func Words(n *coordinator.Notice, at Place, lang string) Text {
	s := said{Notice: n, at: at, lang: words.For(lang)}
	if !told[n.Kind] {
		return s.text("news", "title", "body")
	}
	switch n.Kind {
	case coordinator.TurnCalled:
		return s.called()
	case coordinator.TurnReturned:
		if s.Reason == "wash-ends" {
			return s.text("turn-returned-wash", "title", "body")
		}
	case coordinator.LoadLeft:
		if s.Reason == "table" {
			return s.text("load-left-table", "title", "body")
		}
	case coordinator.LoadReady:
		return s.loadReady()
	case coordinator.LoadFault:
		if n.Reason == "out" {
			return s.text("load-fault-out", "title", "body")
		}
	}
	return s.text(string(n.Kind), "title", "body")
}

// LetterWords are Words for an e-mail, which may say what somebody typed: it shows
// on no lock screen. What was typed is made one line, so that it cannot pass for
// more of the letter.
func LetterWords(n *coordinator.Notice, at Place, lang string) Text {
	t := Words(n, at, lang)
	if n.Kind == coordinator.FaultTold && n.Reason != "" {
		s := said{Notice: n, at: at, lang: words.For(lang)}
		t.Body += " " + s.say("fault-told.quote")
	}
	return t
}

// told are the kinds that the catalogue has words for, under notice.KIND.
var told = map[coordinator.NoticeKind]bool{
	coordinator.TurnCalled: true, coordinator.TurnMissed: true, coordinator.TurnEnded: true, coordinator.TurnReturned: true,
	coordinator.TurnPassed: true, coordinator.TurnClosed: true, coordinator.LoadBegun: true, coordinator.LoadReady: true, coordinator.LoadNudge: true,
	coordinator.LoadWaiting: true, coordinator.LoadLeft: true, coordinator.LoadMoved: true, coordinator.LoadTaken: true,
	coordinator.LoadFault: true, coordinator.FaultTold: true, coordinator.MeterSilent: true, coordinator.LevelsChanged: true,
	coordinator.MachineOut: true, coordinator.WalkUpTold: true,
}

// said is a notice together with what its words need.
type said struct {
	*coordinator.Notice
	at   Place
	lang *words.Language
}

// text picks a title and a body of a notice's messages.
func (s said) text(kind, title, body string) Text {
	return Text{s.say(kind + "." + title), s.say(kind + "." + body)}
}

func (s said) say(key string) string { return s.lang.SayBy("notice."+key, s.value) }

// value is what a message's placeholder stands for.
func (s said) value(name string) string {
	switch name {
	case "machine":
		return s.machine()
	case "place":
		return s.place()
	case "room":
		return s.at.Room
	case "reason":
		return tidy(s.Reason)
	case "made":
		return s.clock(s.Made)
	case "ready":
		return s.clock(s.ready())
	case "until":
		return s.clock(s.Until)
	}
	return "{" + name + "}"
}

// place is the machine and the room: "2 (Cellar)".
func (s said) place() string {
	if s.at.Room == "" {
		return strconv.Itoa(s.Machine)
	}
	return s.lang.Say("machine.place", "n", s.Machine, "room", s.at.Room)
}

// machine is the machine by its kind: "Washer 2 (Cellar)".
func (s said) machine() string {
	key := "machine.any"
	switch s.MachineKind {
	case queue.Washer, queue.Dryer, queue.WasherDryer:
		key = "machine." + s.MachineKind.String()
	}
	return s.lang.Say(key, "place", s.place())
}

// clock is the time of day on the room's clock, with the day when it is another
// than the notice's.
func (s said) clock(t time.Time) string {
	zone := s.at.Zone
	if zone == nil {
		zone = time.UTC
	}
	return s.lang.Clock(t.In(zone), s.Made.In(zone))
}

// ready is when the load was ready, or when the notice was made if that is not known.
func (s said) ready() time.Time {
	if s.ReadyAt.IsZero() {
		return s.Made
	}
	return s.ReadyAt
}

func (s said) called() Text {
	if s.Reason == "wash-ends" { // a dryer, called ahead
		return s.text("turn-ahead", "title", "body")
	}
	t := s.text("turn-called", "title", "body")
	if s.Until.IsZero() {
		t.Body = s.say("turn-called.open")
	}
	if s.LoadInside {
		t.Body += " " + s.say("turn-called.inside")
	}
	return t
}

func (s said) loadReady() Text {
	switch coordinator.EndReason(s.Reason) {
	case coordinator.EndStopped:
		return s.text("load-stopped", "title", "body")
	case coordinator.EndPresumed:
		return s.text("load-presumed", "title", "body")
	}
	switch s.MachineKind {
	case queue.Washer:
		return s.text("load-ready", "wash", "body")
	case queue.Dryer:
		return s.text("load-ready", "dry", "body")
	}
	return s.text("load-ready", "title", "body")
}
