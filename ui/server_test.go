package ui

import (
	"context"
	"log/slog"
	"testing"

	"drumturn/coordinator"
)

// testOptions are those of a small invented building.
func testOptions(h House) Options {
	return Options{
		House: h, Building: "Alder Court", PublicURL: "http://localhost:8080", WallKey: "wallkey",
		VAPIDKey:             "BNcRdreALRFXTkOOUHK1EtK2wtaz5Ry4YfYCA_0QTpQtUbVlUls0VJXg7A8u-Ts1XbjhazAkj7I99e8QcYP7DkM",
		ValidateSubscription: func(s *coordinator.Subscription) error { return nil },
		Advice: func(string) []Advice {
			return []Advice{{"note", "This server is reached over plain http.", "Phones take notices over https only."}}
		},
		Deliveries: func(context.Context, int) ([]coordinator.Delivery, error) {
			return []coordinator.Delivery{{
				Notice: coordinator.Notice{Kind: coordinator.TurnCalled, To: "fay", Made: in(-12), Machine: 2,
					Subject: coordinator.Subject{Room: "cellar", Turn: 4}, MachineKind: 1},
				State: coordinator.Dropped, Why: "no device takes notices",
			}, {
				Notice: coordinator.Notice{Kind: coordinator.LoadReady, To: "bob", Made: in(-40), Machine: 4,
					Subject: coordinator.Subject{Room: "cellar", Load: 8}, MachineKind: 1},
				State: coordinator.Done, Why: "sent to 1 device",
			}}, nil
		},
		CheckHook: func(string) error { return nil },
		Log:       slog.New(slog.DiscardHandler),
	}
}

func newTestServer(t *testing.T, h House, change func(*Options)) *Server {
	t.Helper()
	o := testOptions(h)
	if change != nil {
		change(&o)
	}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	return s
}
