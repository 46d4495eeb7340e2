package specimen

import (
	"slices"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// State is one page in one state.
type State struct {
	// Name is made of small letters, digits and dashes.
	Name string
	// Path is the page below the base; Who looks at it: a person's id, or none.
	Path string
	Who  coordinator.PersonID
	// Press is the selector of a button on that page which leads to the state; empty for none.
	Press string
	// Wall is for a screen of 1920 by 1080, not a phone of 390 by 844.
	Wall bool
}

// WallKey opens the screens' pages.
const WallKey = "wallkey"

// Manager is who signs in as the manager.
const Manager coordinator.PersonID = "boss"

// Fresh is a manager who signed in a minute ago, and is not asked to once more.
const Fresh coordinator.PersonID = "ben"

// Managed reports whether a manager looks at the state.
func (s State) Managed() bool { return s.Who == Manager || s.Who == Fresh }

// mailOff is the secret in the links that end e-mails to zed.
const mailOff = "no-more"

// Letters takes e-mails and sends none.
type Letters struct{}

// Confirm implements ui.Letters.
func (Letters) Confirm(_, _, _, _ string, _ time.Duration) bool { return true }

// Return implements ui.Letters.
func (Letters) Return(_, _, _, _, _ string, _ time.Duration) bool { return true }

// States lists every page in every state.
func States() []State { return slices.Concat(residentStates(), wallStates(), managerStates()) }

// residentStates are the pages of residents and visitors.
func residentStates() []State {
	return []State{
		{Name: "building", Path: "/"},
		{Name: "room-visitor", Path: "/r/cellar"},
		{Name: "room-scanned", Path: "/r/cellar?code=tidewater"},
		{Name: "room-scanned-closed", Path: "/r/yard?code=tidewater"},
		{Name: "room-free", Path: "/r/cellar", Who: "zed"},
		{Name: "room-quiet", Path: "/r/attic", Who: "zed"},
		{Name: "room-waiting", Path: "/r/cellar", Who: "fay"},
		{Name: "room-called", Path: "/r/cellar", Who: "cat"},
		{Name: "room-running", Path: "/r/cellar", Who: "ann"},
		{Name: "room-overdue", Path: "/r/cellar", Who: "bob"},
		{Name: "room-joined", Path: "/r/attic?done=joined", Who: "zed"},
		{Name: "room-on-way", Path: "/r/loft", Who: "gil"},
		{Name: "room-shared", Path: "/r/loft", Who: "hal"},
		{Name: "room-two-loads", Path: "/r/loft", Who: "kit"},
		{Name: "room-table", Path: "/r/loft", Who: "ivy"},
		{Name: "room-refused", Path: "/r/loft", Who: "zed", Press: ".wants button"},
		{Name: "room-outage", Path: "/r/yard", Who: "zed"},
		{Name: "room-shut", Path: "/r/shut", Who: "zed"},
		{Name: "room-too-long", Path: "/r/shut", Who: "ivy"},
		{Name: "join", Path: "/r/cellar/join?code=tidewater"},
		{Name: "join-as-guest", Path: "/r/cellar/join?code=GUES-T234"},
		{Name: "join-with-home-code", Path: "/r/yard/join"},
		{Name: "code", Path: "/code?code=ABCD-2345"},
		{Name: "machine-free", Path: "/r/cellar/m/w1?code=printed-w1"},
		{Name: "machine-running", Path: "/r/cellar/m/w2", Who: "ann"},
		{Name: "machine-overdue", Path: "/r/cellar/m/w4?code=printed-w4"},
		{Name: "machine-own", Path: "/r/cellar/m/w4", Who: "bob"},
		{Name: "machine-sharing", Path: "/r/loft/m/w2", Who: "kit", Press: "form[action$='/share'] button"},
		{Name: "machine-refused", Path: "/r/cellar/m/w4", Who: "bob", Press: ".acts .main"},
		{Name: "machine-unclaimed", Path: "/r/cellar/m/d1", Who: "zed"},
		{Name: "machine-silent", Path: "/r/cellar/m/d3", Who: "zed"},
		{Name: "machine-out", Path: "/r/cellar/m/d4"},
		{Name: "me", Path: "/me", Who: "fay"},
		{Name: "me-code", Path: "/me", Who: "fay", Press: "form[action='/me/code'] button"},
		{Name: "me-nobody", Path: "/me"},
		{Name: "notices", Path: "/me/notices", Who: "fay"},
		{Name: "notices-by-mail", Path: "/me/notices", Who: "zed"},
		{Name: "mail-confirm", Path: "/mail/confirm?code=ABCD-2345"},
		{Name: "mail-off", Path: "/mail/off?of=" + mailOff},
		{Name: "mail-ended", Path: "/mail/off?of=used"},
		{Name: "offline", Path: "/offline"},
		{Name: "not-found", Path: "/nothing"},
	}
}

// wallStates are those of screens.
func wallStates() []State {
	return []State{
		{Name: "wall", Path: "/r/cellar/wall?key=" + WallKey, Wall: true},
		{Name: "wall-on-way", Path: "/r/loft/wall?key=" + WallKey, Wall: true},
		{Name: "wall-quiet", Path: "/r/attic/wall?key=" + WallKey, Wall: true},
		{Name: "wall-shut", Path: "/r/shut/wall?key=" + WallKey, Wall: true},
		{Name: "wall-touch", Path: "/r/cellar/touch?key=" + WallKey, Wall: true},
		{Name: "wall-touch-home", Path: "/r/cellar/touch?key=" + WallKey, Who: "dan", Wall: true},
		{Name: "wall-touch-word", Path: "/r/cellar/touch?key=" + WallKey, Who: "eve", Wall: true},
		{Name: "wall-touch-refused", Path: "/r/cellar/touch?key=" + WallKey, Who: "dan", Wall: true, Press: ".wants button"},
	}
}

// managerStates are those of managers, and where they sign in.
func managerStates() []State {
	return []State{
		{Name: "sign-in", Path: "/manager"},
		{Name: "first-start", Path: "/manager/first?token=token"},
		{Name: "invited", Path: "/manager/invited?token=invite"},
		{Name: "manager", Path: "/manager", Who: Manager},
		{Name: "manager-people", Path: "/manager/people", Who: Manager},
		{Name: "manager-people-found", Path: "/manager/people?home=12", Who: Manager},
		{Name: "manager-home-codes", Path: "/manager/people/codes", Who: Fresh},
		{Name: "manager-access", Path: "/manager/access", Who: Manager},
		{Name: "manager-prove", Path: "/manager/access", Who: Manager, Press: "#keys .hands li > form button"},
		{Name: "manager-acts", Path: "/manager/log", Who: Manager},
		{Name: "manager-people-code", Path: "/manager/people?home=12", Who: Fresh, Press: "form[action$='/residents/code'] button"},
		{Name: "manager-notices", Path: "/manager/notices", Who: Manager},
		{Name: "manager-programs", Path: "/manager/tokens", Who: Manager},
		{Name: "manager-log", Path: "/manager/r/cellar/log", Who: Manager},
		{Name: "manager-machine", Path: "/manager/r/cellar/m/w2", Who: Manager},
		{Name: "manager-machine-unkept", Path: "/manager/r/cellar/m/d3", Who: Manager},
		{Name: "manager-cycle", Path: "/manager/r/cellar/m/w2/c/361", Who: Manager},
		{Name: "manager-cycle-early", Path: "/manager/r/cellar/m/w2/c/359", Who: Manager},
		{Name: "manager-use", Path: "/manager/use", Who: Manager},
		{Name: "manager-use-year", Path: "/manager/use?of=cellar&from=2025-03-17&to=2026-03-16&by=month", Who: Manager},
		{Name: "manager-reports", Path: "/manager/reports", Who: Manager},
		{Name: "manager-report", Path: "/manager/reports/2026-02", Who: Manager},
		{Name: "manager-report-room", Path: "/manager/reports/2026-02?of=attic", Who: Manager},
		{Name: "manager-use-nothing", Path: "/manager/use?of=cellar%2Fw2&from=2020-01-01&to=2020-01-28&by=week", Who: Manager},
		{Name: "manager-cycle-sheet", Path: "/manager/r/cellar/m/w2/c/359/sheet", Who: Manager},
		{Name: "manager-wear", Path: "/manager/r/cellar/m/w2/wear", Who: Manager},
		{Name: "manager-wear-drift", Path: "/manager/r/cellar/m/d2/wear", Who: Manager},
		{Name: "manager-enough", Path: "/manager/r/cellar/enough", Who: Manager},
		{Name: "manager-tariff", Path: "/manager/tariff", Who: Manager},
		{Name: "manager-rules", Path: "/manager/r/cellar/rules", Who: Manager},
		{Name: "manager-rules-look", Path: "/manager/r/loft/rules", Who: Manager, Press: ".rules > p button"},
		{Name: "manager-crowd", Path: Crowd + "/manager", Who: Manager},
		{Name: "manager-crowd-people", Path: Crowd + "/manager/people?home=garden", Who: Manager},
		{Name: "manager-crowd-use", Path: Crowd + "/manager/use", Who: Manager},
		{Name: "manager-sheets", Path: "/manager/r/cellar/sheets", Who: Manager},
	}
}

// outage is a room in a supply interruption, whose homes have codes.
func outage() *coordinator.Snapshot {
	s := SmallRoom()
	s.Room, s.Name, s.SupplySince = "yard", "Yard", In(-4)
	s.Rules.OpenHomes = false
	s.Machines[0].Status = coordinator.Running
	s.Machines[0].Stalled, s.Machines[0].Since = true, In(-20)
	delete(s.IfYouJoin, queue.Wash) // when the only washer ends is not known
	return s
}

// shut is a room on a day without laundry.
func shut() *coordinator.Snapshot {
	s := SmallRoom()
	s.Room, s.Name = "shut", "Garden house"
	s.IfYouJoin = nil // no day comes on which it would be
	s.Turns = []queue.Turn{{ID: 41, Person: "ivy", Home: "h1", Need: queue.Wash, State: queue.Waiting, Joined: In(-60)}}
	s.TooLong = []coordinator.TooLong{{Need: queue.Wash, Length: 130 * time.Minute, Longest: 90 * time.Minute}}
	for i := range s.Rules.Hours {
		s.Rules.Hours[i] = queue.Day{Opens: queue.NoClock, LastStart: queue.NoClock, EndedBy: queue.NoClock, Closed: true}
	}
	return s
}
