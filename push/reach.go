package push

import (
	"slices"
	"strings"

	"drumturn/coordinator"
)

// Reach is whether anything can be told to the managers just now.
type Reach struct {
	OK bool
	// Everybody is a sentence for the wall, Manager one for the manager's page:
	// what is so, and what to do. Both are empty when OK.
	Everybody, Manager string
}

// tellYourself is what the wall says.
const tellYourself = "The building manager cannot be told of anything by this screen just now. Is something broken? Please tell them yourself."

// ReachManagers finds whether some way to some manager works. sending: the
// program sends notices at all; elsewhere: another way than push works.
func ReachManagers(people *coordinator.People, h Health, sending, elsewhere bool) Reach {
	if elsewhere {
		return Reach{OK: true}
	}
	no := func(text string) Reach { return Reach{Everybody: tellYourself, Manager: text} }
	switch {
	case !sending:
		return no("Nobody is told of faults, silent meters and loads left behind: this installation sends no notices. Set push_subject in the building file, or look at this page every day.")
	case h.Trouble != "":
		return no("The manager is told of nothing just now. " + h.Trouble)
	}
	managers := people.Managers()
	var hosts []string
	for _, m := range managers {
		for _, d := range people.Devices(m.ID) {
			hosts = append(hosts, d.Host())
		}
	}
	broken := slices.Clone(h.Silent)
	for _, a := range h.Alarms {
		broken = append(broken, a.Host)
	}
	works := func(host string) bool { return !slices.Contains(broken, host) }
	switch {
	case len(managers) == 0:
		return no("The building has no manager yet.")
	case len(hosts) == 0:
		return no("No device of a manager takes notices, so nobody is told of faults, silent meters and loads left behind. Switch them on, on this page, on the phone that you carry.")
	case !slices.ContainsFunc(hosts, works):
		slices.Sort(hosts)
		return no("The push services of all managers' devices fail just now (" + strings.Join(slices.Compact(hosts), ", ") +
			"), so nobody is told of faults, silent meters and loads left behind. What is of use later is sent once they work again.")
	}
	return Reach{OK: true}
}
