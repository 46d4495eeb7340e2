package push

import "drumturn/coordinator"

// reasonWords put the reasons into words, for the log.
var reasonWords = map[coordinator.Reason]string{
	coordinator.ReasonNow:      "send now",
	coordinator.ReasonLater:    "waits for quiet hours to end",
	coordinator.ReasonReplaced: "replaced by a newer notice about the same",
	coordinator.ReasonUnwanted: "not wanted: this kind was not asked for",
	coordinator.ReasonMuted:    "muted: wants to hear nothing for a while",
	coordinator.ReasonLate:     "too late to be of use",
	coordinator.ReasonNoWay:    "no device: notices are not switched on",
	coordinator.ReasonMovedOut: "moved out: nobody to tell",
}

// reasonText is a reason in words; one that is not known stands for itself.
func reasonText(r coordinator.Reason) string {
	if words := reasonWords[r]; words != "" {
		return words
	}
	return string(r)
}
