package coordinator

import (
	"strings"
	"testing"
	"time"
)

// codeOf says of every refusal of the building's people what class of answer it is:
// pages make their status of it.
var codeOf = map[string]Code{
	"first.done": Conflict, "first.token": NotAllowed,
	"manager.unknown": NotAllowed, "manager.no-way": Invalid, "manager.name": Invalid, "manager.name-taken": Conflict, "manager.last": Conflict,
	"invite.bad": Invalid, "invite.over": NotAllowed, "passphrase.last": Conflict,
	"passkey.unknown": NotAllowed, "passkey.bad": Invalid, "passkey.twice": Conflict, "passkey.many": OverLimit, "passkey.name": Invalid,
	"passkey.gone": NotFound, "passkey.last": Conflict,
	"machine.code": Invalid, "pass.unknown": NotAllowed, "return.open": NotAllowed, "return.code": NotAllowed,
	"guest.bad": Invalid, "guest.most": Invalid, "guest.until": Invalid,
	"invitation.code": Invalid, "invitation.most": Invalid, "invitation.until": Invalid,
	"join.blocked": NotAllowed, "join.over": NotAllowed, "join.code": NotAllowed, "join.home": Invalid, "join.home-code": NotAllowed, "join.name": Invalid,
	"home.unknown": NotFound, "home.code": Invalid, "person.manager": NotAllowed, "person.unknown": NotFound, "merge.same": Invalid,
	"mail.address": Invalid, "mail.code": Invalid, "mail.off": Invalid, "mail.unknown": NotAllowed,
	"subscribe.stranger": NotAllowed, "choices.kind": Invalid, "choices.quiet": Invalid, "mute.long": Invalid,
	"token.name": Invalid, "token.hash": Invalid, "token.scopes": Invalid, "token.many": OverLimit, "token.unknown": NotFound,
	"webhook.secret": Invalid, "webhook.url": Invalid, "webhook.kinds": Invalid, "webhook.many": OverLimit, "webhook.twice": Conflict, "webhook.unknown": NotFound,
	"tariff.invalid": Invalid, "session.gone": NotFound, "people.event-unknown": Invalid,
}

// settled is a building with the managers boss and ben, and anna and bob of the
// homes 12 and 13, whose codes are AAAA and BBBB.
func settled(t *testing.T) *town {
	w := managed(t).second()
	w.joinAs("anna", "12")
	w.joinAs("bob", "13")
	w.do(SetHomeCode{Home: HomeIDFor("12"), Code: "AAAA"})
	w.do(SetHomeCode{Home: HomeIDFor("13"), Code: "BBBB"})
	return w
}

// longText is a text of so many octets; broken is one that is no UTF-8.
func longText(n int) string { return strings.Repeat("x", n) }

const broken = "ab\xff"

// TestWhatIsRefusedOfManagers: each limit at its last allowed value and one beyond.
func TestWhatIsRefusedOfManagers(t *testing.T) {
	soon := noon.Add(time.Hour)
	invite := func(name, hash string, until time.Time) InviteManager {
		return InviteManager{By: "boss", Hash: hash, Name: name, Expires: until}
	}
	key := func(id, name string) AddPasskey {
		return AddPasskey{By: "boss", Handle: "h", Key: Passkey{ID: id, Name: name, Record: []byte("{}")}}
	}
	for name, c := range map[string]struct {
		ev  PeopleEvent
		key string // empty: it is done
	}{
		"a name of 60 octets":           {invite(longText(60), "i", soon), ""},
		"a name of 61":                  {invite(longText(61), "i", soon), "manager.name"},
		"a name that is no text":        {invite(broken, "i", soon), "manager.name"},
		"a name of spaces":              {invite("  ", "i", soon), "manager.name"},
		"the name of another":           {invite(" BEN ", "i", soon), "manager.name-taken"},
		"a link without a token":        {invite("Cleo", "", soon), "invite.bad"},
		"a link without time":           {invite("Cleo", "i", noon), "invite.bad"},
		"a link for an instant":         {invite("Cleo", "i", noon.Add(1)), ""},
		"a link by nobody":              {InviteManager{Hash: "i", Name: "Cleo", Expires: soon}, "manager.unknown"},
		"by the program's operator":     {InviteManager{Operator: true, Hash: "i", Name: "Cleo", Expires: soon}, ""},
		"by a resident as operator":     {InviteManager{By: "anna", Operator: true, Hash: "i", Name: "Cleo", Expires: soon}, "manager.unknown"},
		"a link taken back by anna":     {DropManagerInvite{By: "anna", Hash: "i"}, "manager.unknown"},
		"renamed by anna":               {RenameManager{By: "anna", Name: "Anna"}, "manager.unknown"},
		"renamed to nothing":            {RenameManager{By: "boss", Name: " "}, "manager.name"},
		"renamed to another's name":     {RenameManager{By: "boss", Name: "ben"}, "manager.name-taken"},
		"renamed to one's own":          {RenameManager{By: "boss", Name: "ADA"}, ""},
		"a passphrase of anna's":        {ChangePassphrase{By: "anna", Passphrase: "$"}, "manager.unknown"},
		"anna removes one":              {RemoveManager{By: "anna", Person: "ben"}, "manager.unknown"},
		"anna is removed":               {RemoveManager{By: "boss", Person: "anna"}, "manager.unknown"},
		"anna signs in":                 {SignInManager{Person: "anna", NewSession: NewSession{SessionHash: "s", Expires: soon}}, "manager.unknown"},
		"anna has seen notices":         {SeeNotices{By: "anna", At: noon}, "manager.unknown"},
		"a passkey":                     {key("k", "phone"), ""},
		"a passkey without an id":       {key("", "phone"), "passkey.bad"},
		"a passkey of anna's":           {AddPasskey{By: "anna", Handle: "h", Key: key("k", "phone").Key}, "manager.unknown"},
		"a passkey's name of 60 octets": {key("k", longText(60)), ""},
		"a passkey's name of 61":        {key("k", longText(61)), "passkey.name"},
		"a passkey's name, no text":     {key("k", broken), "passkey.name"},
		"no passkey renamed":            {NamePasskey{By: "boss", ID: "k", Name: "phone"}, "passkey.gone"},
		"renamed to no name":            {NamePasskey{By: "boss", ID: "k", Name: " "}, "passkey.name"},
		"a passkey dropped by anna":     {DropPasskey{By: "anna", ID: "k"}, "manager.unknown"},
	} {
		t.Run(name, func(t *testing.T) {
			w := settled(t)
			if c.key == "" {
				w.do(c.ev)
			} else {
				w.refused(c.ev, c.key)
			}
			w.reload()
		})
	}
}

// TestMostPasskeys: a manager has twelve at most, whatever others have.
func TestMostPasskeys(t *testing.T) {
	w := settled(t)
	key := func(who PersonID, n rune) AddPasskey {
		return AddPasskey{By: who, Handle: "of " + string(who), Key: Passkey{ID: string(who) + string(n), Name: "n", Record: []byte("{}")}}
	}
	for n := 'a'; n < 'a'+12; n++ {
		w.do(key("boss", n))
	}
	w.refused(key("boss", 'z'), "passkey.many")
	w.do(key("ben", 'a'))
	w.do(DropPasskey{By: "boss", ID: "bossa"})
	w.do(key("boss", 'z'))
	w.reload()
}

// TestWhatIsRefusedOfResidents: what they and the manager may say of homes, guests,
// codes and letters, each limit at its last allowed value and one beyond.
func TestWhatIsRefusedOfResidents(t *testing.T) {
	const day = 24 * time.Hour
	twelve := HomeIDFor("12")
	join := func(change func(*JoinBuilding)) JoinBuilding {
		ev := JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "14", Open: true, NewID: "new", SessionHash: "s", Expires: noon.Add(time.Hour)}
		change(&ev)
		return ev
	}
	guests := func(change func(*InviteGuests)) InviteGuests {
		ev := InviteGuests{ID: "g", Room: "cellar", Home: twelve, Code: "GUEST", Most: 2, Until: noon.Add(day)}
		change(&ev)
		return ev
	}
	for name, c := range map[string]struct {
		ev  PeopleEvent
		key string
	}{
		"a home of 60 octets":       {join(func(e *JoinBuilding) { e.HomeName = longText(60) }), ""},
		"a home of 61":              {join(func(e *JoinBuilding) { e.HomeName = longText(61) }), "join.home"},
		"a home that is no text":    {join(func(e *JoinBuilding) { e.HomeName = broken }), "join.home"},
		"a name of 60 octets":       {join(func(e *JoinBuilding) { e.Name = longText(60) }), ""},
		"a name of 61":              {join(func(e *JoinBuilding) { e.Name = longText(61) }), "join.name"},
		"a name that is no text":    {join(func(e *JoinBuilding) { e.Name = broken }), "join.name"},
		"no code":                   {join(func(e *JoinBuilding) { e.Code = "" }), "join.code"},
		"inside, no code":           {join(func(e *JoinBuilding) { e.Code, e.Inside = "", true }), ""},
		"a room that has no code":   {join(func(e *JoinBuilding) { e.Room, e.Code = "attic", "" }), "join.code"},
		"no home's code":            {join(func(e *JoinBuilding) { e.Open = false }), "join.home-code"},
		"a home's code":             {join(func(e *JoinBuilding) { e.Open, e.HomeCode = false, "aa aa" }), ""},
		"guests":                    {guests(func(*InviteGuests) {}), ""},
		"guests without an id":      {guests(func(e *InviteGuests) { e.ID = "" }), "guest.bad"},
		"guests of no room":         {guests(func(e *InviteGuests) { e.Room = "" }), "guest.bad"},
		"guests without a code":     {guests(func(e *InviteGuests) { e.Code = " - " }), "guest.bad"},
		"guests of no home":         {guests(func(e *InviteGuests) { e.Home = "h" }), "home.unknown"},
		"no guest":                  {guests(func(e *InviteGuests) { e.Most = 0 }), "guest.most"},
		"one guest":                 {guests(func(e *InviteGuests) { e.Most = 1 }), ""},
		"ten guests":                {guests(func(e *InviteGuests) { e.Most = 10 }), ""},
		"eleven guests":             {guests(func(e *InviteGuests) { e.Most = 11 }), "guest.most"},
		"guests until now":          {guests(func(e *InviteGuests) { e.Until = noon }), "guest.until"},
		"guests for 92 days":        {guests(func(e *InviteGuests) { e.Until = noon.Add(92 * day) }), ""},
		"guests for longer":         {guests(func(e *InviteGuests) { e.Until = noon.Add(92*day + 1) }), "guest.until"},
		"a code for ten thousand":   {SetInvitation{Room: "cellar", Code: "C", Most: 10_000}, ""},
		"a code for more":           {SetInvitation{Room: "cellar", Code: "C", Most: 10_001}, "invitation.most"},
		"a code for fewer than 0":   {SetInvitation{Room: "cellar", Code: "C", Most: -1}, "invitation.most"},
		"a code of no letters":      {SetInvitation{Room: "cellar", Code: "- -"}, "invitation.code"},
		"a code until now":          {SetInvitation{Room: "cellar", Code: "C", Expires: noon}, "invitation.until"},
		"a code until just after":   {SetInvitation{Room: "cellar", Code: "C", Expires: noon.Add(1)}, ""},
		"a machine's code":          {SetMachineCode{Room: "cellar", Machine: "w1", Code: "M"}, ""},
		"a code of no machine":      {SetMachineCode{Room: "cellar", Code: "M"}, "machine.code"},
		"a code of no room":         {SetMachineCode{Machine: "w1", Code: "M"}, "machine.code"},
		"no code of a machine":      {SetMachineCode{Room: "cellar", Machine: "w1", Code: "-"}, "machine.code"},
		"a home's code of letters":  {SetHomeCode{Home: twelve, Code: "C"}, ""},
		"a home's code of none":     {SetHomeCode{Home: twelve, Code: " "}, "home.code"},
		"a code of no home":         {SetHomeCode{Home: "h", Code: "C"}, "home.unknown"},
		"moving out without a code": {MoveOut{Home: twelve, Code: "-"}, "home.code"},
		"no home moves out":         {MoveOut{Home: "h", Code: "C"}, "home.unknown"},
		"a home of no name":         {AddHome{Name: " ", Code: "C"}, "join.home"},
		"nobody is blocked":         {Block{Person: "eve", On: true}, "person.unknown"},
		"no home is blocked":        {Block{Home: "h", On: true}, "home.unknown"},
		"a manager is blocked":      {Block{Person: "ben", On: true}, "person.manager"},
		"a pass for nobody":         {OfferPass{Person: "eve", Hash: "p", Expires: noon.Add(day)}, "person.unknown"},
		"a pass for a manager":      {OfferPass{Person: "ben", Hash: "p", Expires: noon.Add(day)}, "person.manager"},
		"merging from nobody":       {MergePersons{From: "eve", Into: "anna"}, "person.unknown"},
		"merging into nobody":       {MergePersons{From: "anna", Into: "eve"}, "person.unknown"},
		"merging a manager":         {MergePersons{From: "ben", Into: "anna"}, "person.manager"},
		"merging into a manager":    {MergePersons{From: "anna", Into: "ben"}, "person.manager"},
		"merging one":               {MergePersons{From: "anna", Into: "anna"}, "merge.same"},
		"merging from no home":      {MergeHomes{From: "h", Into: twelve}, "home.unknown"},
		"merging into no home":      {MergeHomes{From: twelve, Into: "h"}, "home.unknown"},
		"merging one home":          {MergeHomes{From: twelve, Into: twelve}, "merge.same"},
		"a home's code brings back": {ReturnHome{HomeCode: "aaaa", Person: "anna", SessionHash: "s", Expires: noon.Add(day)}, ""},
		"the code of another home":  {ReturnHome{HomeCode: "BBBB", Person: "anna"}, "return.code"},
		"a code of no home's":       {ReturnHome{HomeCode: "ZZZZ", Person: "anna"}, "return.code"},
		"a home's code, somebody":   {ReturnHome{HomeCode: "AAAA", Person: "eve"}, "return.code"},
		"no code, a manager":        {ReturnHome{HomeCode: "", Person: "ben"}, "return.code"},
		"where homes are open":      {ReturnHome{HomeCode: "AAAA", Person: "anna", Open: true}, "return.open"},
		"a phone of nobody's":       {Subscribe{Subscription: Subscription{ID: "d", Person: "eve"}}, "subscribe.stranger"},
		"muted for two weeks":       {Mute{Person: "anna", Until: noon.Add(14 * day)}, ""},
		"muted for longer":          {Mute{Person: "anna", Until: noon.Add(14*day + 1)}, "mute.long"},
		"nobody is muted":           {Mute{Person: "eve"}, "person.unknown"},
		"no kind of notice":         {SetChoices{Person: "anna", Off: []NoticeKind{"weather"}}, "choices.kind"},
		"no time of day":            {SetChoices{Person: "anna", Quiet: Quiet{From: 22 * 60, To: 24 * 60}}, "choices.quiet"},
		"a language of nobody":      {SetLanguage{Person: "eve", Lang: "de"}, "person.unknown"},
		"letters for nobody":        {AskMail{Person: "eve", Address: "a@example.org", Hash: "h", Expires: noon.Add(1)}, "person.unknown"},
		"no address":                {AskMail{Person: "anna", Address: "a@example", Hash: "h", Expires: noon.Add(1)}, "mail.address"},
		"an address without a code": {AskMail{Person: "anna", Address: "a@example.org", Expires: noon.Add(1)}, "mail.code"},
		"no time to confirm":        {AskMail{Person: "anna", Address: "a@example.org", Hash: "h", Expires: noon}, "mail.code"},
		"confirmed by no code":      {ConfirmMail{Hash: "", Off: "off"}, "mail.unknown"},
		"letters also, to nobody":   {SetMailUse{Person: "eve", Also: true}, "person.unknown"},
		"nobody's browser":          {EndSession{Person: "eve", Hash: "session of anna"}, "session.gone"},
		"no browser":                {EndSession{Person: "anna", Hash: "none"}, "session.gone"},
		"a price without currency":  {SetTariff{Tariff: Tariff{MicrosPerKWh: 1}}, "tariff.invalid"},
		"forgetting a manager":      {Forget{Person: "ben"}, "person.manager"},
	} {
		t.Run(name, func(t *testing.T) {
			w := settled(t)
			if c.key == "" {
				w.do(c.ev)
			} else {
				w.refused(c.ev, c.key)
			}
			w.reload()
		})
	}
}

// TestWhatChangesNothing: what is so already, or is about what is gone, is no change
// and no line in the log.
func TestWhatChangesNothing(t *testing.T) {
	for name, ev := range map[string]PeopleEvent{
		"a link that is gone is taken back": DropManagerInvite{By: "boss", Hash: "none"},
		"a home that is there":              AddHome{By: "boss", Name: " 12 ", Code: "OTHER"},
		"anna is not blocked":               Block{By: "boss", Person: "anna"},
		"home 12 is not blocked":            Block{By: "boss", Home: HomeIDFor("12")},
		"guests that were not invited":      DropGuestInvitation{By: "boss", ID: "none"},
		"a departure that is over":          Departed{ID: "none"},
		"no guest's time is over":           EndGuests{},
		"somebody who is gone":              Forget{By: "boss", Person: "eve"},
		"a phone that is not there":         Unsubscribe{ID: "none"},
		"letters as before":                 SetMailUse{Person: "anna"},
		"letters that nobody gets":          EndMail{Person: "anna"},
		"letters ended by no link":          EndMail{},
		"letters of somebody gone":          EndMail{Person: "eve"},
		"a browser that is signed out":      SignOut{SessionHash: "none"},
		"a browser that is not known":       SawSession{SessionHash: "none"},
		"a resident's use of a browser":     SawSession{SessionHash: "session of anna"},
		"a token that is gone":              UseToken{ID: "none"},
		"a webhook that is gone":            MoveWebhook{State: HookState{ID: "none"}},
		"notices of the past were seen":     SeeNotices{By: "boss"},
	} {
		w := settled(t)
		w.now = noon.Add(30 * time.Minute)
		if w.do(ev); w.last.Moves() {
			t.Errorf("%s: changed %+v", name, w.last)
		}
	}
}
