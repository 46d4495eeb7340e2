package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"drumturn/cmd/drumturn/demo"
	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/meter"
	"drumturn/coordinator/store"
	"drumturn/ui"
)

// demoPassphrase is the invented manager's.
const demoPassphrase = "lint screens are clean"

// demoCommand shows everything with an invented building.
type demoCommand struct {
	Listen string  `help:"Address of the pages." default:"127.0.0.1:8080"`
	Speed  float64 `help:"How many times as fast as the clock on the wall time runs." default:"1"`
	Seed   uint64  `help:"Another number invents another past." default:"1"`
	Zone   string  `help:"Time zone of the building; empty: this computer's." placeholder:"ZONE"`
	Days   int     `help:"For how many days the invented building has been in use." default:"28"`
	// PageStates is for whoever works on the look.
	PageStates bool `help:"Show every page in every state instead, with canned data; nothing happens there."`
}

// Validate refuses speeds at which nothing could be seen, and pasts that are none or take too long to invent.
func (c *demoCommand) Validate() error {
	if !(c.Speed >= 0.1 && c.Speed <= 3600) {
		return fmt.Errorf("--speed %v is out of range: use 0.1 to 3600, such as --speed 60 for an hour a minute", c.Speed)
	}
	if c.Days < 1 || c.Days > 365 {
		return fmt.Errorf("--days %d is out of range: use 1 to 365, such as --days 28", c.Days)
	}
	return nil
}

// demonstration is a demo that has been set up.
type demonstration struct {
	app      *app
	town     *demo.Live
	data     string
	resident string // the visitor's secret
	manager  string // the manager's
}

// Run shows the building until a signal.
func (c *demoCommand) Run(ctx context.Context, s streams) error {
	socket, err := c.listen()
	if err != nil {
		return err
	}
	if c.PageStates {
		return c.pageStates(ctx, s, socket)
	}
	fmt.Fprintf(s.out, "%d days pass in the invented building ...\n", c.Days)
	d, err := c.open(ctx, socket, slog.New(slog.NewTextHandler(s.err, &slog.HandlerOptions{Level: slog.LevelWarn})))
	if err != nil {
		_ = socket.Close()
		return err
	}
	defer d.app.close()
	d.announce(s, c.Speed)
	return d.run(ctx)
}

// listen opens the socket of the pages; when the usual port is taken, another.
func (c *demoCommand) listen() (net.Listener, error) {
	socket, err := net.Listen("tcp", c.Listen)
	if err == nil {
		return socket, nil
	}
	host, _, splitErr := net.SplitHostPort(c.Listen)
	if splitErr != nil {
		return nil, usageError{fmt.Errorf("--listen %q is no address: write it like 127.0.0.1:8080", c.Listen)}
	}
	if socket, another := net.Listen("tcp", net.JoinHostPort(host, "0")); another == nil {
		return socket, nil
	}
	return nil, fmt.Errorf("listen for browsers: %w", err)
}

// open lets the past happen and puts the program together on it.
func (c *demoCommand) open(ctx context.Context, socket net.Listener, log *slog.Logger) (*demonstration, error) {
	zone := time.Local
	if c.Zone != "" {
		var err error
		if zone, err = time.LoadLocation(c.Zone); err != nil {
			return nil, usageError{fmt.Errorf("--zone %q is no time zone: write it like Europe/Berlin", c.Zone)}
		}
	}
	data, err := os.MkdirTemp("", "drumturn-demo-")
	if err != nil {
		return nil, fmt.Errorf("make a temporary folder: %w", err)
	}
	d := &demonstration{data: data, resident: newToken(), manager: newToken()}
	now := time.Now()
	began := now.AddDate(0, 0, -c.Days)
	town := demo.New(c.Seed, began, zone)
	if err := d.live(ctx, town, began, now); err != nil {
		return nil, err
	}
	clock := loop.Fast{Start: now, Since: time.Now(), Speed: c.Speed}
	d.town = town.Live(clock)
	drivers := map[string]meter.Driver{}
	for _, driver := range d.town.Drivers() {
		drivers["simulated "+driver.Meters()[0]] = driver
	}
	d.app, err = newApp(ctx, setup{
		file: demoFile(data, zone), clock: clock, log: log, engine: engine, drivers: drivers, listen: socket,
		noSync: true, plainCookies: true,
		mounts: mountTable{"/demo/": http.HandlerFunc(d.doors)},
	})
	if err != nil {
		return nil, err
	}
	return d, d.makeManager(ctx)
}

// demoFile is the building file that the invented building would have.
func demoFile(data string, zone *time.Location) *config.File {
	return &config.File{
		Building: config.Building{Name: "Plover Yard 3", Zone: zone},
		Rooms:    demo.Plans(zone), Tariff: demo.Tariff(),
		Server: config.Server{Data: data, PushSubject: "caretaker@example.org", TLS: config.TLS{Mode: config.TLSOff}},
		Backup: config.Backup{Folder: filepath.Join(data, "backup"), Keep: 3},
	}
}

// live lets the town live through its past, into the store.
func (d *demonstration) live(ctx context.Context, town *demo.Town, began, now time.Time) error {
	st, err := store.Open(filepath.Join(d.data, storeName), store.Options{NoSync: true})
	if err != nil {
		return err
	}
	err = town.Past(ctx, st, engine, began, now, hashOf(d.resident), now.AddDate(1, 0, 0))
	return errors.Join(err, st.Close())
}

// makeManager gives the demonstration's manager a session.
func (d *demonstration) makeManager(ctx context.Context) error {
	token := d.app.firstLink[len("/manager/first?token="):]
	hash, err := d.app.pages.HashPassphrase(ctx, demoPassphrase)
	if err != nil {
		return err
	}
	return d.app.house.Seed(ctx, coordinator.FirstManager{
		TokenHash: hashOf(token), Passphrase: hash, NewID: "manager",
		NewSession: coordinator.NewSession{SessionHash: hashOf(d.manager), Expires: d.app.clock.Now().AddDate(1, 0, 0)},
	})
}

// doors let whoever opens them in: as the visitor, or as the manager.
func (d *demonstration) doors(w http.ResponseWriter, r *http.Request) {
	switch r.URL.Path {
	case "/demo/resident":
		d.app.pages.Door(d.resident, ui.ResidentSession, "/r/"+string(demo.Cellar)).ServeHTTP(w, r)
	case "/demo/manager":
		d.app.pages.Door(d.manager, ui.ManagerSession, "/manager").ServeHTTP(w, r)
	default:
		http.NotFound(w, r)
	}
}

// announce prints where to look.
func (d *demonstration) announce(s streams, speed float64) {
	at := d.app.publicURL()
	fmt.Fprintf(s.out, `
  Resident   %[1]s/demo/resident    (you live in this building; no sign-in)
  Wall       %[1]s/r/%[2]s/wall?key=%[3]s
  Manager    %[1]s/demo/manager     (passphrase, should you sign out: %[5]s)

Everything is kept in %[4]s and can be deleted afterwards.
`, at, demo.Cellar, d.app.wallKey, d.data, demoPassphrase)
	if speed == 1 {
		fmt.Fprintln(s.out, "With --speed 60 an hour passes in a minute. Stop with Ctrl-C.")
		return
	}
	fmt.Fprintf(s.out, "Time runs %g times as fast as on the wall. Stop with Ctrl-C.\n", speed)
}

// run runs the program and its residents.
func (d *demonstration) run(ctx context.Context) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	all := group{stop: stop}
	all.start("program", func() error { return d.app.run(ctx) })
	all.start("residents", func() error { return d.town.Run(ctx, d.app.house) })
	all.start("figures", func() error {
		err := d.app.keeper.CatchUp(ctx, d.app.clock.Now())
		<-ctx.Done()
		return err
	})
	return all.wait()
}
