package coordinator

import "strings"

// The kinds of fact that are acts of managers upon the building. Person is the
// manager; About says upon whom or what, by ids: what somebody is called is
// looked up when it is shown, so that nothing is left of who was forgotten. What
// a program did with a token has no Person; About is then the token.
const (
	FactSignedIn       FactKind = "manager-signed-in" // Note: passphrase or passkey
	FactSignedOut      FactKind = "manager-signed-out"
	FactManagerMade    FactKind = "manager-made"
	FactManagerRenamed FactKind = "manager-renamed" // Note: the new name
	FactManagerInvited FactKind = "manager-invited" // Note: what the invited is to be called
	FactInviteDropped  FactKind = "manager-invite-dropped"
	FactManagerGone    FactKind = "manager-removed" // Note: what the manager was called
	FactPassphrase     FactKind = "passphrase"      // Note: set anew or removed
	FactPasskeyAdded   FactKind = "passkey-added"   // Note: its name, here and below
	FactPasskeyNamed   FactKind = "passkey-renamed"
	FactPasskeyGone    FactKind = "passkey-removed"
	FactPasskeyCopied  FactKind = "passkey-suspect"
	FactSessionsEnded  FactKind = "sessions-ended" // Note: one or others
	FactInvitation     FactKind = "invitation"     // a room's new code
	FactGuestInvited   FactKind = "guest-invited"
	FactGuestsEnded    FactKind = "guest-invitation-ended"
	FactPassMade       FactKind = "one-time-code" // for a resident
	FactMachineCode    FactKind = "machine-code"
	FactHomeAdded      FactKind = "home-added"
	FactHomeCode       FactKind = "home-code"
	FactBlocked        FactKind = "blocked"
	FactUnblocked      FactKind = "unblocked"
	FactMerged         FactKind = "merged"
	FactMovedAway      FactKind = "moved-away"
	FactErased         FactKind = "erased"
	FactJoinedFor      FactKind = "joined-for" // in the room's log: a turn for somebody without a phone
	FactTokenMade      FactKind = "token-made" // Note: its name, here and below
	FactTokenRevoked   FactKind = "token-revoked"
	FactHookAdded      FactKind = "webhook-added" // Note: its host, here and below
	FactHookRemoved    FactKind = "webhook-removed"
	FactTariffSet      FactKind = "tariff-set"
	FactNoticesSeen    FactKind = "notices-seen"
)

// ActKinds lists the kinds of fact in the building's log.
func ActKinds() []FactKind {
	return []FactKind{
		FactSignedIn, FactSignedOut, FactManagerMade, FactManagerRenamed, FactManagerInvited, FactInviteDropped, FactManagerGone, FactPassphrase,
		FactPasskeyAdded, FactPasskeyNamed, FactPasskeyGone, FactPasskeyCopied, FactSessionsEnded,
		FactInvitation, FactGuestInvited, FactGuestsEnded, FactPassMade, FactMachineCode,
		FactHomeAdded, FactHomeCode, FactBlocked, FactUnblocked, FactMerged, FactMovedAway, FactErased,
		FactTokenMade, FactTokenRevoked, FactHookAdded, FactHookRemoved, FactTariffSet, FactNoticesSeen,
	}
}

// AboutPerson, AboutHome, AboutRoom and AboutMachine write what a fact is about.
func AboutPerson(id PersonID) string { return "person:" + string(id) }

// AboutHome writes that a fact is about a home.
func AboutHome(id HomeID) string { return "home:" + string(id) }

// AboutRoom writes that a fact is about a room.
func AboutRoom(id RoomID) string { return "room:" + string(id) }

// AboutMachine writes that a fact is about a machine.
func AboutMachine(room RoomID, id MachineID) string {
	return "machine:" + string(room) + "/" + string(id)
}

// AboutToken writes that a fact was done with a token.
func AboutToken(id string) string { return "token:" + id }

// About takes apart what a fact is about: "person", "home", "room", "token" or "machine"
// with its id (of a machine, after its room's and a slash); empty for nothing.
func About(text string) (kind, id string) {
	kind, id, _ = strings.Cut(text, ":")
	return kind, id
}
