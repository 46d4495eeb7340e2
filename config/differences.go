package config

import (
	"fmt"

	"drumturn/coordinator"
)

// Differences says in which settings the rules that the store holds differ from
// those that the building file seeds, one line each; none when they are the same.
func Differences(seed, stored coordinator.Rules) []string {
	// The default is compared by what it comes to.
	seed.CallUncollectedAfter, stored.CallUncollectedAfter = seed.CallWithLoadAfter(), stored.CallWithLoadAfter()
	return differences(seed.ChangedTo(&stored))
}

// TariffDifferences is the same of prices.
func TariffDifferences(seed, stored coordinator.Tariff) []string {
	return differences(seed.ChangedTo(&stored))
}

// differences writes changes from the file to what is in force.
func differences(changes []coordinator.Changed) (lines []string) {
	for _, c := range changes {
		lines = append(lines, fmt.Sprintf("%s: %s in the file, %s in force", c.Path, said(c.From), said(c.To)))
	}
	return lines
}

// said is a setting's value; what only one side has, and what is empty, is none.
func said(value string) string {
	if value == "" {
		return "none"
	}
	return value
}
