package push

import (
	"slices"
	"strings"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// Reach is whether anything can be told to the managers just now.
type Reach struct {
	OK bool
	// Everybody is a sentence for the wall, Manager one for the manager's page:
	// what is so, and what to do. Both are empty when OK.
	Everybody, Manager string
}

// ReachManagers finds whether some way to some manager or caretaker works, and
// says so in a language.
func ReachManagers(people *coordinator.People, h Health, ways Ways, say *words.Language) Reach {
	no := func(key string, args ...any) Reach {
		return Reach{Everybody: say.Say("reach.wall"), Manager: say.Say("reach."+key, args...)}
	}
	switch {
	case ways.NoPhones && !ways.Mail:
		return no("off")
	case h.Trouble != "":
		return no("trouble", "why", h.TroubleText(say))
	}
	managers := append(people.Managers(), ways.caretakers(people)...)
	hosts := hostsOf(people, managers, ways)
	broken := slices.Clone(h.Silent)
	for _, a := range h.Alarms {
		broken = append(broken, a.Host)
	}
	works := func(host string) bool { return !slices.Contains(broken, host) }
	switch {
	case len(managers) == 0:
		return no("no-manager")
	case len(hosts) == 0 && ways.Mail:
		return no("no-device-mail")
	case len(hosts) == 0:
		return no("no-device")
	case !slices.ContainsFunc(hosts, works):
		return no("failing", "hosts", strings.Join(hosts, ", "))
	}
	return Reach{OK: true}
}

// hostsOf are the services by which some of these people are told.
func hostsOf(people *coordinator.People, who []coordinator.Person, ways Ways) []string {
	var hosts []string
	for i := range who {
		for _, d := range ways.all(people, &who[i]) {
			hosts = append(hosts, d.Host())
		}
	}
	slices.Sort(hosts)
	return slices.Compact(hosts)
}
