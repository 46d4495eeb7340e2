package ui

import (
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// act is one thing that a manager can do.
type act func(l *lived) int

func sends(path string, pairs ...string) act {
	return func(l *lived) int { return l.send(path, pairs...) }
}

func peopleForm(pairs ...string) act { return sends("/manager/people", pairs...) }

// managersActs are the acts behind each route to which managers send forms.
var managersActs = map[string][]act{
	"/manager/first":   {sends("/manager/first", "token", "first", "name", "Ada", "passphrase", adasPhrase, "again", adasPhrase)},
	"/manager/sign-in": {sends("/manager/sign-in", "passphrase", adasPhrase)},
	"/manager/access/passkeys": {func(l *lived) int {
		return l.ceremony("/manager/access/passkeys", true, "name", "phone")
	}},
	"/manager/passkey": {func(l *lived) int { return l.withKey().ceremony("/manager/passkey", false) }},
	"/manager/prove":   {func(l *lived) int { return l.withKey().ceremony("/manager/prove", false) }},
	"/manager/invited": {func(l *lived) int {
		l.invite()
		return l.send("/manager/invited", "token", "invite", "passphrase", bensPhrase, "again", bensPhrase)
	}},
	"/manager/invited/passkey": {func(l *lived) int {
		l.invite()
		return l.ceremony("/manager/invited/passkey", true, "token", "invite")
	}},
	"/manager/access": {
		sends("/manager/access", "do", "rename", "name", "Adele"), sends("/manager/access", "do", "others"), sends("/manager/access", "do", "invite", "name", "Cleo"),
		sends("/manager/access", "do", "passphrase", "passphrase", bensPhrase, "again", bensPhrase),
		func(l *lived) int {
			l.invite()
			return l.send("/manager/access", "do", "take-back", "id", hashSecret("invite"))
		},
		func(l *lived) int {
			l.invite()
			l.people(coordinator.TakeManagerInvite{Hash: hashSecret("invite"), Passphrase: "-", NewID: "cleo"})
			return l.send("/manager/access", "do", "remove", "id", l.known("manager"), "sure", "yes")
		},
		func(l *lived) int {
			l.people(coordinator.SignInManager{Person: l.boss(), NewSession: coordinator.NewSession{SessionHash: strings.Repeat("e", 64), Expires: noon.AddDate(0, 1, 0)}})
			return l.send("/manager/access", "do", "end", "id", sessionID(strings.Repeat("e", 64)))
		},
		func(l *lived) int {
			return l.withKey().send("/manager/access", "do", "name-key", "id", l.known("key"), "name", "tablet")
		},
		func(l *lived) int { return l.withKey().send("/manager/access", "do", "drop-key", "id", l.known("key")) },
		func(l *lived) int {
			return l.withKey().send("/manager/access", "do", "no-passphrase")
		},
	},
	"/manager/sign-out": {sends("/manager/sign-out")},
	"/manager/people": {
		peopleForm("do", "invite", "room", "cellar", "most", "3"), peopleForm("do", "codes", "room", "cellar"), peopleForm("do", "add", "names", "21\n22"),
		peopleForm("do", "turn", "room", "cellar", "new-home", "30", "need", "wash"),
		func(l *lived) int {
			_, _ = l.house.Do(l.Context(), "cellar", coordinator.OpenHomes{})
			return l.send("/manager/people", "do", "open", "room", "cellar")
		},
		resident("do", "home-code", "id", homeOf("anna")), resident("do", "block", "id", "anna"), resident("do", "block-home", "id", homeOf("anna")),
		resident("do", "merge", "id", "anna", "into", "bert"), resident("do", "merge-homes", "id", homeOf("anna"), "into", homeOf("bert")),
		resident("do", "move-out", "id", homeOf("anna"), "sure", "yes"), resident("do", "forget", "id", "anna", "sure", "yes"),
		resident("do", "guests", "room", "cellar", "home", homeOf("anna"), "most", "2", "until", noon.AddDate(0, 0, 3).Format(time.DateOnly)),
		func(l *lived) int {
			l.joined("anna")
			l.people(coordinator.Block{Person: "anna", On: true}, coordinator.Block{Home: coordinator.HomeIDFor("anna"), On: true})
			return max(l.send("/manager/people", "do", "unblock", "id", "anna"), l.send("/manager/people", "do", "unblock-home", "id", homeOf("anna")))
		},
		func(l *lived) int {
			l.joined("anna")
			l.people(coordinator.InviteGuests{ID: "g", Room: "cellar", Home: coordinator.HomeIDFor("anna"), Code: "GUES-T234", Most: 1, Until: noon.AddDate(0, 0, 2)})
			return l.send("/manager/people", "do", "guests-end", "id", l.known("guests"))
		},
	},
	"/manager/residents/code": {func(l *lived) int { l.joined("anna"); return l.send("/manager/residents/code", "person", "anna") }},
	programsPath:              {sends(programsPath, "name", "lobby", "scope-status", "yes")},
	programsPath + "/revoke": {func(l *lived) int {
		l.send(programsPath, "name", "lobby", "scope-status", "yes")
		return l.send(programsPath+"/revoke", "id", l.known("token"))
	}},
	"/manager/webhooks": {sends("/manager/webhooks", "url", "https://hooks.example/x", "kind-"+string(coordinator.PublicKinds()[0]), "yes")},
	"/manager/webhooks/remove": {func(l *lived) int {
		l.send("/manager/webhooks", "url", "https://hooks.example/x", "kind-"+string(coordinator.PublicKinds()[0]), "yes")
		return l.send("/manager/webhooks/remove", "id", l.known("hook"))
	}},
	"/manager/r/:room/m/:machine": {
		machineForm("w1", "empty"), machineForm("w2", "on-table"), machineForm("w3", "take-out"), machineForm("w3", "by-hand-on"),
		func(l *lived) int { machineForm("w3", "take-out")(l); return machineForm("w3", "put-back")(l) },
		func(l *lived) int { machineForm("w3", "by-hand-on")(l); return machineForm("w3", "by-hand-off")(l) },
		func(l *lived) int { l.outOfTurn(); return machineForm("w1", "seen")(l) },
	},
	"/manager/r/:room/longer-hold": {func(l *lived) int {
		l.joined("anna")
		return l.send("/manager/r/cellar/longer-hold", "do", "on", "home", homeOf("anna"))
	}},
	"/manager/r/:room/invitation": {sends("/manager/r/cellar/invitation")},
	"/manager/r/:room/table": {func(l *lived) int {
		machineForm("w2", "on-table")(l)
		table := l.house.Snapshot("cellar").Table
		if len(table) == 0 {
			l.Fatal("nothing is on the table")
		}
		return l.send("/manager/r/cellar/table", "do", strconv.FormatUint(uint64(table[0].Load), 10))
	}},
	"/manager/notices/seen": {sends("/manager/notices/seen")},
	"/manager/tariff":       {func(l *lived) int { return l.sendTariff() }},
	"/manager/r/:room/rules": {func(l *lived) int {
		snap := l.house.Snapshot("cellar")
		v := rulesForm(&snap.Rules)
		v.Set("hold", "12")
		return l.form("/manager/r/cellar/rules", v)
	}},
	"/manager/r/:room/m/:machine/code": {sends("/manager/r/cellar/m/w1/code")},
}

// unlogged are the routes to which managers send what is no act upon the building.
var unlogged = map[string]string{
	"/manager/first/passkey/begin": "asks for a challenge", "/manager/invited/passkey/begin": "asks for a challenge", "/manager/passkey/begin": "asks for a challenge",
	"/manager/prove/begin": "asks for a challenge", "/manager/access/passkeys/begin": "asks for a challenge",
	"/manager/first/passkey": "the same event as by a passphrase: see TestStartsWithAPasskeyAlone",
	"/manager/devices":       "what the manager is told of themselves", "/manager/notices": "the same", "/manager/notices/mute": "the same", "/manager/notices/try": "the same",
	"/manager/people/codes": "changes nothing: leads back to the page that asked for a sign-in",
	"/manager/webhooks/try": "changes nothing: a trial event is posted to an address that is on the list",
	"/manager/notices/mail": "the same", "/manager/notices/mail/use": "the same", "/manager/notices/mail/end": "the same",
}

func resident(pairs ...string) act {
	return func(l *lived) int { l.joined("anna", "bert"); return l.send("/manager/people", pairs...) }
}

func machineForm(machine, do string) act {
	return sends("/manager/r/cellar/m/"+machine, "do", do)
}

// outOfTurn starts a machine that nobody was called to, while somebody waits.
func (l *lived) outOfTurn() {
	l.joined("anna", "bert")
	for _, id := range []coordinator.PersonID{"anna", "bert"} {
		if _, err := l.house.Do(l.Context(), "cellar", coordinator.Join{Person: id, Home: coordinator.HomeIDFor(string(id)), Need: queue.Wash}); err != nil {
			l.Fatal(err)
		}
	}
	for range 4 {
		l.clock.Set(l.clock.Now().Add(30 * time.Second))
		if err := l.house.Deliver(l.Context(), "w1", cycle.Power(l.clock.Now(), 300)); err != nil {
			l.Fatal(err)
		}
	}
}

func (l *lived) withKey() *lived {
	if code := l.ceremony("/manager/access/passkeys", true, "name", "phone"); code != 204 {
		l.Fatal(code)
	}
	return l
}

func (l *lived) form(path string, v url.Values) int {
	v.Set("do", "keep")
	var pairs []string
	for name := range v {
		pairs = append(pairs, name, v.Get(name))
	}
	return l.send(path, pairs...)
}

func (l *lived) sendTariff() int {
	v := url.Values{}
	for _, one := range l.tariffSettings(&coordinator.Tariff{Currency: "EUR", MicrosPerKWh: 320_000}) {
		if one.Kind != coordinator.TruthSetting || one.Value == "true" {
			v.Set(one.Path, map[bool]string{true: "yes", false: one.Value}[one.Kind == coordinator.TruthSetting])
		}
	}
	return l.form("/manager/tariff", v)
}

// TestEveryActOfAManagerIsLogged walks the forms of every route of the managers, in
// a building of its own each: what was done is stored as a fact with the id of
// whoever did it, and the page of the log shows it. A new route fails until it is
// in one of the lists above.
func TestEveryActOfAManagerIsLogged(t *testing.T) {
	seen := 0
	for _, r := range live(t).routes() {
		if r.method != http.MethodPost || !strings.HasPrefix(r.path, "/manager") {
			continue
		}
		seen++
		acts, walked := managersActs[r.path]
		if walked == (unlogged[r.path] != "") {
			t.Errorf("%s is in neither list, or in both: is what it does logged?", r.path)
		}
		for i, do := range acts {
			l := live(t)
			if r.path != "/manager/first" {
				l.begin()
			}
			before := len(l.logged())
			code := do(l)
			if after := l.logged(); code >= 400 || len(after) <= before {
				t.Errorf("%s, act %d: %d, and no fact with the manager's id: %v", r.path, i+1, code, after)
			} else if lines, facts := l.logPage(), len(l.logged()); lines < facts { // who was removed is on the page, too
				t.Errorf("%s, act %d: %d facts, %d on the page", r.path, i+1, facts, lines)
			}
		}
	}
	if seen != len(managersActs)+len(unlogged) {
		t.Errorf("%d routes, %d in the lists", seen, len(managersActs)+len(unlogged))
	}
}

var logRow = regexp.MustCompile(`<tr>\s*<td`)

// logPage counts the lines of the log as a manager reads it, who signs in for it.
func (l *lived) logPage() int {
	secret, hash, err := l.newSecret()
	if err != nil {
		l.Fatal(err)
	}
	m := l.house.People().Managers()[0]
	l.people(coordinator.SignInManager{Person: m.ID, NewSession: coordinator.NewSession{SessionHash: hash, Expires: noon.AddDate(0, 1, 0)}})
	page := get("/manager/log").as("", secret).of(l.Server).Body.String()
	return len(logRow.FindAllString(page, -1))
}
