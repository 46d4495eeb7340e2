package push

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// Text is what the phone shows.
type Text struct{ Title, Body string }

// Place is where and on whose clock a notice happens.
type Place struct {
	Room string         // the room's name
	Zone *time.Location // the room's zone; nil means UTC
}

// catalogue is one language: how each kind of notice is put. Every language
// must have every kind.
type catalogue map[coordinator.NoticeKind]func(said) Text

// catalogues are the languages by BCP 47 tag, in lower case.
var catalogues = map[string]catalogue{"en": english}

const fallbackLanguage = "en"

// Words puts a notice into words of the language with the BCP 47 tag lang, or of
// the nearest one there is (de-AT: de), or English. A kind that is not known
// gets words that lead to the page.
func Words(n *coordinator.Notice, at Place, lang string) Text {
	say := catalogueFor(lang)[n.Kind]
	if say == nil {
		say = someNews
	}
	return say(said{Notice: n, at: at})
}

func catalogueFor(lang string) catalogue {
	tag := strings.ToLower(strings.ReplaceAll(lang, "_", "-"))
	for tag != "" {
		if c := catalogues[tag]; c != nil {
			return c
		}
		i := strings.LastIndexByte(tag, '-')
		tag = tag[:max(i, 0)]
	}
	return catalogues[fallbackLanguage]
}

// said is a notice together with what its words need.
type said struct {
	*coordinator.Notice
	at Place
}

// place is the machine and the room: "2 (Cellar)".
func (s said) place() string {
	if s.at.Room == "" {
		return strconv.Itoa(s.Machine)
	}
	return fmt.Sprintf("%d (%s)", s.Machine, s.at.Room)
}

// local is t on the room's clock.
func (s said) local(t time.Time) time.Time {
	if s.at.Zone == nil {
		return t.UTC()
	}
	return t.In(s.at.Zone)
}

// anotherDay reports whether t is on another local day than the notice.
func (s said) anotherDay(t time.Time) bool {
	return s.local(t).Format(time.DateOnly) != s.local(s.Made).Format(time.DateOnly)
}

// ready is when the load was ready, or when the notice was made if that is not known.
func (s said) ready() time.Time {
	if s.ReadyAt.IsZero() {
		return s.Made
	}
	return s.ReadyAt
}

// english is the first language. A message never reports on a machine; it says
// what the person may want to do.
var english = catalogue{
	coordinator.TurnCalled:   enTurnCalled,
	coordinator.TurnMissed:   enTurnMissed,
	coordinator.TurnEnded:    enTurnEnded,
	coordinator.TurnReturned: enTurnReturned,
	coordinator.LoadBegun:    enLoadBegun,
	coordinator.LoadReady:    enLoadReady,
	coordinator.LoadNudge:    enLoadNudge,
	coordinator.LoadWaiting:  enLoadWaiting,
	coordinator.LoadLeft:     enLoadLeft,
	coordinator.LoadMoved:    enLoadMoved,
	coordinator.LoadTaken:    enLoadTaken,
	coordinator.FaultTold:    enFaultTold,
	coordinator.MeterSilent:  enMeterSilent,

	coordinator.LevelsChanged: enLevelsChanged,
	coordinator.MachineOut:    enMachineOut,
	coordinator.LoadFault:     enLoadFault,
	coordinator.TurnPassed:    enTurnPassed,
	coordinator.WalkUpTold:    enWalkUpTold,
}

func someNews(s said) Text {
	return Text{"News from the laundry room", fmt.Sprintf("It is about %s. Open the page to see it.", s.place())}
}

// enClock is the time of day, with the day of the week when it is another day.
func enClock(s said, t time.Time) string {
	if s.anotherDay(t) {
		return s.local(t).Format("Mon 15:04")
	}
	return s.local(t).Format("15:04")
}

func enMachine(s said) string {
	kind := "Machine"
	switch s.MachineKind {
	case queue.Washer:
		kind = "Washer"
	case queue.Dryer:
		kind = "Dryer"
	case queue.WasherDryer:
		kind = "Washer-dryer"
	}
	return kind + " " + s.place()
}

func enTurnCalled(s said) Text {
	body := fmt.Sprintf("%s is kept for you until %s.", enMachine(s), enClock(s, s.Until))
	if s.Until.IsZero() {
		body = fmt.Sprintf("%s is kept for you.", enMachine(s))
	}
	if s.LoadInside {
		body += " The last load may still be inside; you may put it on the table."
	}
	return Text{"It's your turn", body}
}

func enTurnMissed(s said) Text {
	return Text{"Your call went by", fmt.Sprintf("%s is no longer kept for you. You moved back one place and will be called again.", enMachine(s))}
}

func enTurnEnded(s said) Text {
	return Text{"You are no longer in the queue", fmt.Sprintf("The second call, for %s, went by too. Join again whenever it suits you.", s.place())}
}

func enTurnReturned(s said) Text {
	return Text{"Back at the head of the queue", fmt.Sprintf("%s cannot be used just now. The next machine that suits is yours.", enMachine(s))}
}

func enLoadBegun(s said) Text {
	return Text{"Is this your laundry?", fmt.Sprintf("Somebody put a load on in %s at %s while it was kept for you. If it was not you, say so and you are called again.", s.place(), enClock(s, s.Made))}
}

func enYourLoad(kind queue.Kind) string {
	switch kind {
	case queue.Washer:
		return "Your wash is ready"
	case queue.Dryer:
		return "Your laundry is dry"
	}
	return "Your load is ready"
}

func enLoadReady(s said) Text {
	when := enClock(s, s.ready())
	switch coordinator.EndReason(s.Reason) {
	case coordinator.EndStopped:
		return Text{"Please look at your load", fmt.Sprintf("Its programme in %s was cut short at %s.", s.place(), when)}
	case coordinator.EndPresumed:
		return Text{"Your load is probably ready", fmt.Sprintf("The meter of %s was silent for a while; as far as one can tell, it has been waiting since about %s.", s.place(), when)}
	}
	return Text{enYourLoad(s.MachineKind), fmt.Sprintf("It has been waiting in %s since %s.", s.place(), when)}
}

func enLoadNudge(s said) Text {
	return Text{"Your laundry is still waiting", fmt.Sprintf("Please collect it from %s; it has been there since %s.", s.place(), enClock(s, s.ready()))}
}

func enLoadWaiting(s said) Text {
	return Text{"You are next, but a load is still inside", fmt.Sprintf("It has been waiting in %s since %s. Its owner has been told.", s.place(), enClock(s, s.ready()))}
}

func enLoadLeft(s said) Text {
	return Text{"A load was left behind", fmt.Sprintf("It has been waiting in %s since %s, and nobody has collected it.", s.place(), enClock(s, s.ready()))}
}

func enLoadMoved(s said) Text {
	return Text{"Your laundry is on the table", fmt.Sprintf("A neighbour put it there at %s, from %s. If it is still inside, say so.", enClock(s, s.Made), s.place())}
}

func enLoadTaken(s said) Text {
	return Text{"Your laundry was reported collected", fmt.Sprintf("Somebody said at %s that %s is empty. If it is still inside, say so.", enClock(s, s.Made), s.place())}
}

func enFaultTold(s said) Text {
	body := fmt.Sprintf("%s, reported at %s.", enMachine(s), enClock(s, s.Made))
	if s.Reason != "" {
		body += " “" + s.Reason + "”"
	}
	return Text{"A fault was reported", body}
}

func enMeterSilent(s said) Text {
	return Text{"No readings from a meter", fmt.Sprintf("The meter of %s is silent (noticed at %s). Until it is heard again, the board shows that machine as unknown.", s.place(), enClock(s, s.Made))}
}

func enLevelsChanged(s said) Text {
	return Text{"A machine draws another power than before", fmt.Sprintf("What %s draws has changed for good (noticed at %s), and is learned anew. Was it repaired or replaced? If not, have it looked at.", s.place(), enClock(s, s.Made))}
}

func enMachineOut(s said) Text {
	return Text{"Out of service: two homes report a fault", fmt.Sprintf("Nobody is called to %s since %s. Have it looked at, then put it back.", s.place(), enClock(s, s.Made))}
}

func enLoadFault(s said) Text {
	if s.Reason == "out" {
		return Text{"Please look after your load", fmt.Sprintf("%s was taken out of service at %s, and your load is inside.", enMachine(s), enClock(s, s.Made))}
	}
	return Text{"Please look at your load", fmt.Sprintf("Somebody reported a fault of %s at %s, and your load is inside.", s.place(), enClock(s, s.Made))}
}

func enTurnPassed(s said) Text {
	return Text{"Your place is kept", fmt.Sprintf("Somebody who had not been called put a load on in %s. You are still called when it is your turn.", s.place())}
}

func enWalkUpTold(s said) Text {
	return Text{"A load out of turn", fmt.Sprintf("Somebody waited for %s, but a load was put on in it by nobody who had been called. The board shows it without a name.", s.place())}
}
