package push

import (
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// Button is one thing that a notice lets a person do without opening a page.
type Button struct {
	// Do is what the service worker posts to Payload.Post: the word of the form's button.
	Do    string `json:"do"`
	Title string `json:"title"`
}

// Buttons are what a notice offers, in the language with the tag lang: at most
// two, as phones show no more. What a button then does is decided by the room.
func Buttons(n *coordinator.Notice, lang string) []Button {
	say := words.For(lang)
	button := func(do string) Button { return Button{do, say.Say("button." + do)} }
	switch n.Kind {
	case coordinator.LoadReady, coordinator.LoadNudge:
		out := []Button{button("collected")}
		if minutes := int(n.MoreTime / time.Minute); minutes > 0 {
			out = append(out, Button{"more-time", say.Count("button.more-time", minutes)})
		}
		return out
	case coordinator.TurnCalled:
		return []Button{button("on-my-way"), button("let-next")}
	case coordinator.LoadBegun:
		return []Button{button("not-me")}
	case coordinator.LoadMoved, coordinator.LoadTaken:
		return []Button{button("still-inside")}
	}
	return nil
}
