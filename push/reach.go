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

// ReachManagers finds whether some way to some manager or caretaker works.
func ReachManagers(people *coordinator.People, h Health, ways Ways) Reach {
	no := func(text string) Reach { return Reach{Everybody: tellYourself, Manager: text} }
	switch {
	case ways.NoPhones && !ways.Mail:
		return no("Nobody is told of faults, silent meters and loads left behind: this installation sends no notices. Set push_subject or [mail] in the building file, or look at this page every day.")
	case h.Trouble != "":
		return no("The manager is told of nothing just now. " + h.Trouble)
	}
	managers := append(people.Managers(), ways.caretakers(people)...)
	var hosts []string
	for i := range managers {
		for _, d := range ways.all(people, &managers[i]) {
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
		return no("No device of a manager takes notices, so nobody is told of faults, silent meters and loads left behind. Switch them on, on this page, on the phone that you carry." + mailToo(ways))
	case !slices.ContainsFunc(hosts, works):
		slices.Sort(hosts)
		return no("All ways to the managers fail just now (" + strings.Join(slices.Compact(hosts), ", ") +
			"), so nobody is told of faults, silent meters and loads left behind. What is of use later is sent once they work again.")
	}
	return Reach{OK: true}
}

func mailToo(ways Ways) string {
	if ways.Mail {
		return " Or give an e-mail address: on the page of your notices, or by managers in [mail] of the building file."
	}
	return ""
}
