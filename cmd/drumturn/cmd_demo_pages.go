package main

import (
	"context"
	"fmt"
	"html/template"
	"log/slog"
	"net"
	"net/http"
	"strings"

	"drumturn/coordinator"
	"drumturn/ui"
	"drumturn/ui/specimen"
)

// pageStates serves every page in every state, for people who work on the look.
func (c *demoCommand) pageStates(ctx context.Context, s streams, socket net.Listener) error {
	address, door := "http://"+socket.Addr().String(), &stateDoors{}
	crowd, err := ui.New(c.stateOptions(s, specimen.NewCrowd(hashOf), address+specimen.Crowd))
	if err != nil {
		return err
	}
	defer crowd.Close()
	o := c.stateOptions(s, specimen.NewHouse(hashOf), address)
	o.Mounts = map[string]http.Handler{"/states/": door, specimen.Crowd + "/": crowd.Handler()}
	if door.pages, err = ui.New(o); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "\n  Every page in every state: %s/states/\n\nStop with Ctrl-C.\n", address)
	return door.pages.Serve(ctx, socket)
}

// stateOptions are those of a house that stands still.
func (c *demoCommand) stateOptions(s streams, h *specimen.House, address string) ui.Options {
	return ui.Options{
		House: h, Building: "Alder Court", PublicURL: address,
		WallKey: specimen.WallKey, PlainCookies: true, Log: slog.New(slog.NewTextHandler(s.err, &slog.HandlerOptions{Level: slog.LevelWarn})),
		Letters: specimen.Letters{}, Past: specimen.Past{}, Facts: specimen.Past{}.Facts, Report: specimen.Report, Worn: specimen.Worn{}, Capacity: specimen.Worn{}.Capacity,
		Reports: specimen.Reports, StoredReport: specimen.StoredReport,
		// A key that nobody has the other half of: nothing is ever sent.
		VAPIDKey:             "BNcRdreALRFXTkOOUHK1EtK2wtaz5Ry4YfYCA_0QTpQtUbVlUls0VJXg7A8u-Ts1XbjhazAkj7I99e8QcYP7DkM",
		ValidateSubscription: func(*coordinator.Subscription) error { return nil },
	}
}

// stateDoors lists the states, and lets whoever opens one in as who looks at it.
type stateDoors struct{ pages *ui.Server }

var stateList = template.Must(template.New("states").Parse(`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>Page states</title></head>
<body><h1>Page states</h1><ul>{{range .}}<li><a href="/states/{{.Name}}">{{.Name}}</a>{{if .Wall}} (a screen){{end}}{{with .Press}}, then press <code>{{.}}</code>{{end}}</li>
{{end}}</ul></body></html>
`))

// sessionOf is the kind of session that a state's page looks for.
func sessionOf(s specimen.State) ui.Session {
	switch {
	case s.Managed():
		return ui.ManagerSession
	case s.Wall:
		return ui.ScreenSession
	}
	return ui.ResidentSession
}

// ServeHTTP answers /states/ and /states/NAME.
func (d *stateDoors) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	name := strings.TrimPrefix(r.URL.Path, "/states/")
	if name == "" {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_ = stateList.Execute(w, specimen.States()) // The browser may have gone.
		return
	}
	for _, s := range specimen.States() {
		if s.Name == name {
			d.pages.OnlyDoor(specimen.Secret(s.Who), sessionOf(s), s.Path).ServeHTTP(w, r)
			return
		}
	}
	http.NotFound(w, r)
}
