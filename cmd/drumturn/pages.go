package main

import (
	"context"
	"crypto/tls"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"

	"golang.org/x/crypto/acme"
	"golang.org/x/crypto/acme/autocert"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/push"
	"drumturn/push/hooks"
	"drumturn/ui"
)

// wirePages opens the socket and makes the server of the pages.
func (a *app) wirePages(context.Context) error {
	if err := a.openSocket(); err != nil {
		return err
	}
	var err error
	if a.wallKey, err = secretFile(a.dataFile("wall-key")); err != nil {
		return err
	}
	o := ui.Options{
		House: a.house, Building: a.file.Building.Name, PublicURL: a.publicURL(), WallKey: a.wallKey,
		Advice: a.pageAdvice, Deliveries: a.store.Deliveries, DeliveriesTo: a.deliveriesTo, NoWayToManager: a.noWayToManager, Mounts: a.mounts,
		TrustedProxies: a.file.Server.TrustedProxies, PlainCookies: a.plainCookies, Log: a.log,
	}
	o.History, o.Facts = a.historyOf, a.store.Facts
	o.Past, o.Report, o.Reports, o.StoredReport = past{a.store, a}, a.report, a.reportedMonths, a.storedReport
	w := &worn{app: a, capacities: map[coordinator.RoomID]capacityOf{}}
	o.Worn, o.Capacity = w, w.capacity
	if l := a.file.Building.Language; l != "" {
		o.Languages = []string{l}
	}
	if a.worker != nil {
		o.TryNotice = a.worker.Try
	}
	if a.mail != nil {
		o.Letters = letters{a.mail, a.post}
	}
	if a.file.Server.PushSubject != "" {
		o.VAPIDKey, o.ValidateSubscription, o.SubscriptionID = a.keys.Public, a.validateSubscription, push.SubscriptionID
	}
	o.CheckHook, o.Ready, o.Metrics = hooks.CheckURL, a.readiness.of(a), a.api
	o.Took, o.TryHook = a.requests.Took, a.hooks.Try
	a.pages, err = ui.New(o)
	return err
}

// publicURL is where browsers reach the pages: as the file says, or the socket itself.
func (a *app) publicURL() string {
	if a.file.Server.PublicURL != "" {
		return a.file.Server.PublicURL
	}
	scheme := "https"
	if a.file.Server.TLS.Mode == config.TLSOff {
		scheme = "http"
	}
	host, port, err := net.SplitHostPort(a.address())
	if ip := net.ParseIP(host); err != nil || host == "" || (ip != nil && ip.IsUnspecified()) {
		host = "localhost"
	}
	return scheme + "://" + net.JoinHostPort(host, port)
}

// validateSubscription checks a device as a browser sent it, and completes it.
func (a *app) validateSubscription(s *coordinator.Subscription) error {
	checked, err := push.ValidateSubscription(s.Endpoint, s.P256dh, s.Auth, a.pushHosts())
	if err != nil {
		return err
	}
	checked.Person = s.Person
	*s = checked
	return nil
}

// openSocket listens where the file says, with TLS as it says.
func (a *app) openSocket() error {
	socket := a.listen
	if socket == nil {
		var err error
		if socket, err = net.Listen("tcp", a.file.Server.Listen); err != nil {
			return fmt.Errorf("listen for browsers: %w; free the port, or name another (server.listen)", err)
		}
	}
	conf, err := a.tlsConfig()
	if err != nil {
		_ = socket.Close()
		return err
	}
	if conf != nil {
		socket = tls.NewListener(socket, conf)
	}
	a.sockets = append(a.sockets, socket)
	return nil
}

// tlsConfig is nil for plain HTTP.
func (a *app) tlsConfig() (*tls.Config, error) {
	t := a.file.Server.TLS
	switch t.Mode {
	case config.TLSFiles:
		pair := &certFiles{cert: t.CertFile, key: t.KeyFile, whose: "pages'", section: "server"}
		return pair.tlsConfig("h2", "http/1.1")
	case config.TLSACME:
		folder := filepath.Join(a.file.Server.Data, "certificates")
		if err := os.MkdirAll(folder, 0o700); err != nil {
			return nil, fmt.Errorf("make a folder for certificates: %w", err)
		}
		m := &autocert.Manager{
			Prompt: autocert.AcceptTOS, HostPolicy: autocert.HostWhitelist(t.Host), Email: t.Email, Cache: autocert.DirCache(folder),
		}
		conf := m.TLSConfig()
		conf.MinVersion = tls.VersionTLS12
		conf.NextProtos = []string{"h2", "http/1.1", acme.ALPNProto}
		return conf, nil
	}
	return nil, nil
}

// mountTable is the handlers of other parts by their path's beginning.
type mountTable = map[string]http.Handler
