package specimen

import (
	"time"

	"drumturn/coordinator"
)

// What the canned building has for other programs.
var (
	tokens = map[string]coordinator.Token{
		"0123456789abcdef": {ID: "0123456789abcdef", Name: "Screen in the hall", Scopes: []coordinator.TokenScope{coordinator.ScopeStatus, coordinator.ScopeEvents},
			Made: Noon.AddDate(0, -2, 0), Used: Noon.Add(-20 * time.Minute)},
		"fedcba9876543210": {ID: "fedcba9876543210", Name: "Figures for the owners' meeting", Scopes: []coordinator.TokenScope{coordinator.ScopeUse}, Made: Noon.AddDate(0, 0, -3)},
	}
	webhooks = map[string]coordinator.Webhook{
		"h1": {ID: "h1", URL: "https://caretaker.example.org/laundry", Secret: "s", Kinds: []coordinator.FactKind{coordinator.FactFault, coordinator.FactOut}, Made: Noon.AddDate(0, -1, 0)},
		"h2": {ID: "h2", URL: "https://old.example.org/events", Secret: "s", Made: Noon.AddDate(0, -1, -2)},
	}
	hookStates = map[string]coordinator.HookState{
		"h1": {ID: "h1", Fails: 2, NextAt: Noon.Add(20 * time.Second), Calls: []coordinator.HookCall{
			{At: Noon.Add(-time.Minute), Room: "cellar", Kind: coordinator.FactFault, Outcome: coordinator.HookAgain, Status: 503, Tries: 2},
			{At: Noon.Add(-26 * time.Hour), Room: "cellar", Kind: coordinator.FactOut, Outcome: coordinator.HookTaken, Status: 204, Tries: 1},
			{At: Noon.Add(-50 * time.Hour), Room: "yard", Kind: coordinator.FactFault, Outcome: coordinator.HookGivenUp, Error: "no route to host", Tries: 31},
		}},
		"h2": {ID: "h2", Ended: true},
	}
)
