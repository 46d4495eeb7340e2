package ui

import (
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"
)

// route is one line of the list of what the server answers.
type route struct {
	method, path string
	handler      echo.HandlerFunc
}

// routes is the whole list. Paths are below the public URL.
func (s *Server) routes() []route {
	return slices.Concat(s.residentRoutes(), s.managerRoutes(), s.managerRoomRoutes(), s.serviceRoutes())
}

// residentRoutes are what residents, visitors and screens open.
func (s *Server) residentRoutes() []route {
	const get, post = http.MethodGet, http.MethodPost
	return []route{
		{get, "/", s.buildingPage},
		{get, "/r/:room", s.roomPage},
		{get, "/r/:room/events", s.events},
		{get, "/r/:room/join", s.joinPage},
		{post, "/r/:room/join", s.join},
		{get, "/r/:room/join.svg", s.joinCode},
		{post, "/r/:room/turns", s.takeTurn},
		{post, "/r/:room/turns/:turn", s.changeTurn},
		{post, "/r/:room/loads/:load", s.loadAct},
		{get, "/r/:room/m/:machine", s.machinePage},
		{post, "/r/:room/m/:machine", s.machineAct},
		{post, "/r/:room/share", s.shareLoad},
		{post, "/r/:room/m/:machine/share", s.offerShare},
		{post, "/r/:room/table", s.fetch},
		{get, "/r/:room/wall", s.wallPage},
		{get, "/r/:room/touch", s.touchPage},
		{post, "/r/:room/touch", s.touch},

		{post, "/language", s.chooseLanguage},

		{get, "/code", s.codePage},
		{post, "/code", s.useCode},
		{post, "/code/mail", s.mailCode},
		{get, "/mail/confirm", s.confirmPage},
		{post, "/mail/confirm", s.confirmMail},
		{get, "/mail/off", s.offPage},
		{post, "/mail/off", s.offMail},

		{get, "/me", s.mePage},
		{post, "/me/code", s.makePass},
		{get, "/me/data.json", s.myData},
		{post, "/me/sign-out-others", s.signOutOthers},
		{post, "/me/devices", s.addDevice},
		{post, "/me/devices/off", s.dropDevices},
		{get, "/me/notices", s.noticesPage(residents)},
		{post, "/me/notices", s.setChoices(residents)},
		{post, "/me/notices/mute", s.mute(residents)},
		{post, "/me/notices/try", s.tryNotice(residents)},
		{post, "/me/notices/mail", s.askMail(residents)},
		{post, "/me/notices/mail/use", s.mailUse(residents)},
		{post, "/me/notices/mail/end", s.endMail(residents)},
		{post, "/me/sign-out", s.signOut},
		{post, "/me/forget", s.forgetMe},
	}
}

// managerRoutes are what managers open, of the whole building.
func (s *Server) managerRoutes() []route {
	const get, post = http.MethodGet, http.MethodPost
	return []route{
		{get, "/manager", s.managerPage},
		{get, "/manager/use", s.usePage},
		{get, "/manager/use.json", s.useJSON},
		{get, "/manager/use/:file", s.useFile},
		{get, "/manager/reports", s.reportsPage},
		{get, "/manager/reports/:month", s.reportPage},
		{get, "/manager/reports/:month/:file", s.reportFile},
		{get, "/manager/first", s.firstPage},
		{post, "/manager/first", s.byLink(s.firstEntrance())},
		{post, "/manager/first/passkey/begin", s.beginLinkKey(s.firstEntrance())},
		{post, "/manager/first/passkey", s.byLinkKey(s.firstEntrance())},
		{get, "/manager/invited", s.invitedPage},
		{post, "/manager/invited", s.byLink(s.invitedEntrance())},
		{post, "/manager/invited/passkey/begin", s.beginLinkKey(s.invitedEntrance())},
		{post, "/manager/invited/passkey", s.byLinkKey(s.invitedEntrance())},
		{post, "/manager/sign-in", s.signIn},
		{post, "/manager/passkey/begin", s.beginPasskey},
		{post, "/manager/passkey", s.passkeyIn},
		{get, "/manager/people", s.peoplePage},
		{post, "/manager/people", s.proved(s.peopleAct, whenDo("home-code"))},
		{get, "/manager/people/codes", s.provedPage(s.homeCodesPage)},
		{post, "/manager/people/codes", s.proved(s.opened, always)},
		{get, "/manager/log", s.actsPage},
		{get, "/manager/access", s.accessPage},
		{post, "/manager/access", s.proved(s.access, whenDo("invite", "remove", "drop-key", "new-key", "passphrase", "no-passphrase"))},
		{post, "/manager/prove/begin", s.beginProof},
		{post, "/manager/prove", s.proofByKey},
		{post, "/manager/access/passkeys/begin", s.beginKey},
		{post, "/manager/access/passkeys", s.addKey},
		{post, "/manager/sign-out", s.managerSignOut},
		{post, "/manager/devices", s.addManagerDevice},
		{get, "/manager/residents", s.residentsPage},
		{post, "/manager/residents/code", s.proved(s.passFromManager, always)},
		{get, "/manager/notices", s.noticesPage(managers)},
		{post, "/manager/notices", s.setChoices(managers)},
		{post, "/manager/notices/mute", s.mute(managers)},
		{post, "/manager/notices/try", s.tryNotice(managers)},
		{post, "/manager/notices/mail", s.askMail(managers)},
		{post, "/manager/notices/mail/use", s.mailUse(managers)},
		{post, "/manager/notices/mail/end", s.endMail(managers)},
		{get, programsPath, s.programsPage},
		{post, programsPath, s.proved(s.makeToken(), always)},
		{post, programsPath + "/revoke", s.revokeToken()},
		{post, "/manager/webhooks", s.proved(s.addHook(), always)},
		{post, "/manager/webhooks/remove", s.removeHook()},
		{post, "/manager/webhooks/try", s.tryHook},
		{post, "/manager/notices/seen", s.noticesSeen},
		{get, tariffPath, s.tariffPage},
		{post, tariffPath, s.changeTariff},
	}
}

// managerRoomRoutes are what managers open of one room.
func (s *Server) managerRoomRoutes() []route {
	const get, post = http.MethodGet, http.MethodPost
	return []route{
		{post, "/manager/r/:room/m/:machine", s.managerAct},
		{get, "/manager/r/:room/m/:machine", s.pastPage},
		{get, "/manager/r/:room/m/:machine/:file", s.pastFile},
		{get, "/manager/r/:room/m/:machine/c/:cycle", s.cyclePage},
		{get, "/manager/r/:room/m/:machine/c/:cycle/sheet", s.cycleSheet},
		{get, "/manager/r/:room/m/:machine/c/:cycle/:file", s.cycleFile},
		{get, "/manager/r/:room/m/:machine/wear", s.wearPage},
		{get, "/manager/r/:room/m/:machine/wear/:file", s.wearFile},
		{get, "/manager/r/:room/enough", s.enoughPage},
		{get, "/manager/r/:room/enough/:file", s.enoughFile},
		{post, "/manager/r/:room/longer-hold", s.longerHold},
		{post, "/manager/r/:room/invitation", s.rotateInvitation},
		{post, "/manager/r/:room/table", s.clearTable},
		{get, "/manager/r/:room/log", s.logPage},
		{get, "/manager/r/:room/rules", s.rulesPage},
		{post, "/manager/r/:room/rules", s.changeRules},
		{get, "/manager/r/:room/rules.toml", s.rulesFile},
		{get, "/manager/r/:room/sheets", s.sheetsPage},
		{post, "/manager/r/:room/m/:machine/code", s.rotateMachineCode},
		{get, "/manager/r/:room/m/:machine/code.svg", s.machineCode},
	}
}

// serviceRoutes are what browsers and other programs ask for by themselves.
func (s *Server) serviceRoutes() []route {
	const get = http.MethodGet
	return []route{
		{get, "/healthz", s.healthz},
		{get, "/readyz", s.readyz},
		{get, "/metrics", s.metrics},
		{get, "/manifest.webmanifest", s.manifest},
		{get, "/sw.js", s.serviceWorker},
		{get, "/offline", s.offlinePage},
		{get, "/push-key", s.pushKey},
		{get, "/icons/:file", s.icon},
		{get, "/static/:sum/:file", s.asset},
	}
}
