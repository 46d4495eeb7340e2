package main

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/meter"
	"drumturn/coordinator/store"
	"drumturn/coordinator/usage"
	"drumturn/push"
	"drumturn/push/hooks"
	"drumturn/push/mail"
	"drumturn/ui"
	"drumturn/ui/api"
	"drumturn/ui/metrics"
)

// setup is what an app is made of.
type setup struct {
	file   *config.File
	clock  loop.Clock
	log    *slog.Logger
	engine coordinator.NewEngine
	// drivers are run besides those of the file.
	drivers map[string]meter.Driver
	// mounts are foreign handlers that the pages serve, by the path's beginning.
	mounts mountTable
	// listen is the socket of the pages; nil: the file says where.
	listen net.Listener
	// client changes how push services are reached; for tests.
	client push.ClientOptions
	// mailRoots are the authorities that the mail server's certificate may be of; nil: the system's. For tests.
	mailRoots *x509.CertPool
	// outbox stands between the worker and the store; nil: nothing does. For tests.
	outbox func(push.Outbox) push.Outbox
	// plainCookies lets every browser keep cookies over plain http, for demonstrations.
	plainCookies bool
	// noSync leaves out the wait for the disk, for demonstrations.
	noSync bool
}

// app is the whole program, put together. Tests start it in-process.
type app struct {
	setup
	store   *store.File
	keys    push.KeyFile
	house   *loop.House
	meters  *meter.Supervisor
	worker  *push.Worker // nil where neither push nor mail is set up
	mail    *mail.Server // nil without a mail server
	post    *mail.Post   // of mail
	keeper  *usage.Keeper
	reports *usage.Reports
	pages   *ui.Server
	sockets []net.Listener
	advice  advice
	// api and hooks serve other programs.
	api      *api.Server
	requests *metrics.Requests
	hooks    *hooks.Worker
	// readiness is what was last found of whether the program can do its work.
	readiness readiness
	// brokerAddr is where the MQTT broker listens; nil without one.
	brokerAddr func() net.Addr
	// firstLink is the path of the manager's one-time link; empty once used.
	firstLink string
	// wallKey opens the wall pages that show the invitation code.
	wallKey string
}

// newApp opens the store and puts everything together; nothing runs yet.
func newApp(ctx context.Context, s setup) (_ *app, err error) {
	a := &app{setup: s}
	defer func() {
		if err != nil {
			a.close()
		}
	}()
	for _, step := range []func(context.Context) error{
		a.openStore, a.openHouse, a.seed, a.wirePush, a.wireMeters, a.wireKeeper, a.wirePrograms, a.wirePages,
	} {
		if err := step(ctx); err != nil {
			return nil, err
		}
	}
	return a, nil
}

// dataFile is a file in the data folder.
func (a *app) dataFile(name string) string { return filepath.Join(a.file.Server.Data, name) }

func (a *app) openStore(context.Context) error {
	if err := os.MkdirAll(a.file.Server.Data, 0o700); err != nil {
		return fmt.Errorf("make the data folder: %w; name one that this user may write to (server.data)", err)
	}
	var err error
	a.store, err = store.Open(a.dataFile(storeName), store.Options{NoSync: a.noSync})
	return err
}

func (a *app) openHouse(ctx context.Context) error {
	var err error
	a.house, err = loop.Open(ctx, plans(a.file), a.engine, a.store, a.clock, a.log)
	return err
}

// plans are the file's rooms, with the names of homes in them turned into ids.
func plans(file *config.File) []coordinator.Plan {
	out := slices.Clone(file.Rooms)
	for i := range out {
		out[i].Machines = slices.Clone(out[i].Machines)
		for k := range out[i].Machines {
			m := &out[i].Machines[k]
			m.ReservedFor = homeIDs(m.ReservedFor)
		}
		out[i].Seed.LongerHoldHomes = homeIDs(out[i].Seed.LongerHoldHomes)
	}
	return out
}

// homeIDs turns the names of homes into their ids.
func homeIDs(names []coordinator.HomeID) []coordinator.HomeID {
	ids := slices.Clone(names)
	for i, name := range ids {
		ids[i] = coordinator.HomeIDFor(string(name))
	}
	return ids
}

// run runs everything until ctx ends or a part fails for good. What takes work
// in stops before what works it off: meters and pages, then rooms, then push.
func (a *app) run(ctx context.Context) error {
	inner, stopInner := context.WithCancel(context.WithoutCancel(ctx))
	defer stopInner()
	outer, stopOuter := context.WithCancel(ctx)
	defer stopOuter()

	core := group{stop: stopOuter}
	core.start("rooms", func() error { return a.house.Run(inner) })
	edge := group{stop: stopOuter}
	edge.start("meters", func() error { return a.meters.Run(outer) })
	edge.start("advice", func() error { a.advice.run(outer); return nil })
	context.AfterFunc(outer, a.api.Close)
	edge.start("webhooks", func() error { a.hooks.Run(outer); return nil })
	edge.start("control", func() error { return a.serveControl(outer) })
	edge.start("housekeeping", func() error { a.keeper.Run(outer); return nil })
	if a.worker != nil {
		edge.start("notices", func() error { return a.worker.Run(outer) })
		edge.start("wake-ups", func() error { a.wakeWorker(outer); return nil })
	}
	if a.post != nil {
		edge.start("letters", func() error { a.post.Run(outer); return nil })
	}
	for _, socket := range a.sockets {
		edge.start("pages", func() error { return a.pages.Serve(outer, socket) })
	}
	edgeErr := edge.wait()
	stopInner()
	return errors.Join(edgeErr, core.wait())
}

// group runs parts together: when one ends, all are told to stop.
type group struct {
	stop context.CancelFunc
	wg   sync.WaitGroup
	mu   sync.Mutex
	errs []error
}

// start runs a part in the background.
func (g *group) start(name string, part func() error) {
	g.wg.Go(func() {
		defer g.stop()
		if err := part(); err != nil && !errors.Is(err, context.Canceled) {
			g.mu.Lock()
			defer g.mu.Unlock()
			g.errs = append(g.errs, fmt.Errorf("%s: %w", name, err))
		}
	})
}

// wait waits for all parts to end.
func (g *group) wait() error {
	g.wg.Wait()
	return errors.Join(g.errs...)
}

// close frees what newApp opened. It is safe on a half-made app.
func (a *app) close() {
	for _, socket := range a.sockets {
		_ = socket.Close()
	}
	if a.store != nil {
		if err := a.store.Close(); err != nil {
			a.log.Error("closing the store", "err", err)
		}
	}
}

// address is where the pages are served.
func (a *app) address() string {
	if len(a.sockets) == 0 {
		return ""
	}
	return a.sockets[0].Addr().String()
}
