package ui

import (
	"log"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
)

// contentPolicy lets a page load what this server wrote and nothing else.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; " +
	"connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; " +
	"base-uri 'none'; frame-ancestors 'none'"

// gzipLevel is how hard pages are compressed: most of what is to be had for a
// third of the time of the best.
const gzipLevel = 4

// newEcho wires the middleware around the list of routes.
func (s *Server) newEcho() *echo.Echo {
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.Logger.SetOutput(logWriter{s.o.Log})
	e.IPExtractor = s.ipExtractor()
	e.HTTPErrorHandler = s.answerError
	e.Use(s.took)
	e.Use(middleware.RecoverWithConfig(middleware.RecoverConfig{LogErrorFunc: s.logPanic}))
	e.Use(securityHeaders)
	e.Use(middleware.BodyLimitWithConfig(middleware.BodyLimitConfig{Limit: "64K", Skipper: boundedElsewhere}))
	e.Use(s.crossOrigin())
	e.Use(middleware.GzipWithConfig(middleware.GzipConfig{Level: gzipLevel, MinLength: 1024, Skipper: s.incompressible}))
	for _, r := range s.routes() {
		e.Add(r.method, r.path, r.handler)
	}
	for prefix, h := range s.o.Mounts {
		e.Any(prefix+"*", echo.WrapHandler(h))
	}
	return e
}

// boundedElsewhere reports whether a form's length depends on how many machines
// there are: its own handler bounds it.
func boundedElsewhere(c echo.Context) bool { return c.Path() == tariffPath }

// crossOrigin refuses forms that another site's page sends in a visitor's
// name. The public origin is trusted even where a proxy changes Host.
func (s *Server) crossOrigin() echo.MiddlewareFunc {
	cop := http.NewCrossOriginProtection()
	if err := cop.AddTrustedOrigin(s.origin); err != nil {
		s.o.Log.Warn("the public URL is no origin", "url", s.o.PublicURL, "err", err)
	}
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			if cop.Check(c.Request()) != nil || s.otherScheme(c.Request()) {
				return otherSite
			}
			return next(c)
		}
	}
}

// otherScheme reports whether a form comes from a page of our host by the other
// scheme: over plain http anybody on the way can write such a page. Browsers
// that say which site a form is from are refused for it already; of an old one
// only the host would be compared.
func (s *Server) otherScheme(r *http.Request) bool {
	origin := r.Header.Get("Origin")
	_, ours, _ := strings.Cut(s.origin, "://")
	_, theirs, _ := strings.Cut(origin, "://")
	return r.Method == http.MethodPost && origin != s.origin && theirs == ours
}

// otherSite is the refusal of a form that another site's page sends.
var otherSite = &statusError{http.StatusForbidden, "other-site", "This form was sent from another site, so nothing was done. Open the page itself and try again.", nil}

// ipExtractor believes X-Forwarded-For only from the proxies that the building
// file names: anybody can write that header.
func (s *Server) ipExtractor() echo.IPExtractor {
	if len(s.o.TrustedProxies) == 0 {
		return echo.ExtractIPDirect()
	}
	trust := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
	for _, p := range s.o.TrustedProxies {
		p = p.Masked()
		trust = append(trust, echo.TrustIPRange(&net.IPNet{
			IP: p.Addr().AsSlice(), Mask: net.CIDRMask(p.Bits(), p.Addr().BitLen()),
		}))
	}
	return echo.ExtractIPFromXFFHeader(trust...)
}

// securityHeaders go with every answer. The referrer policy must not be
// "no-referrer": browsers then send "Origin: null" with forms, and over plain
// http that is all that tells our own forms from another site's.
func securityHeaders(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		maps.Copy(c.Response().Header(), guards)
		return next(c)
	}
}

// guards are shared by all answers: what changes one of them sets another list.
var guards = http.Header{
	"Content-Security-Policy":      {contentPolicy},
	"X-Content-Type-Options":       {"nosniff"},
	"Referrer-Policy":              {"same-origin"},
	"Cross-Origin-Opener-Policy":   {"same-origin"},
	"Cross-Origin-Resource-Policy": {"same-origin"},
	"Permissions-Policy":           {"camera=(), microphone=(), geolocation=(), payment=()"},
}

// incompressible skips streams, which must not wait in a buffer, what is
// stored compressed, and foreign handlers.
func (s *Server) incompressible(c echo.Context) bool {
	path := c.Request().URL.Path
	if strings.HasSuffix(path, "/events") || strings.HasPrefix(path, "/static/") || strings.HasPrefix(path, "/icons/") || path == "/sw.js" || path == "/metrics" {
		return true
	}
	for prefix := range s.o.Mounts {
		if strings.HasPrefix(path, prefix) {
			return true
		}
	}
	return s.isKept(c)
}

func (s *Server) logPanic(c echo.Context, err error, stack []byte) error {
	s.o.Log.Error("a handler panicked", "route", c.Path(), "err", err, "stack", string(stack))
	return err
}

// logWriter turns the lines of a foreign logger into records of ours.
type logWriter struct{ log *slog.Logger }

func (w logWriter) Write(p []byte) (int, error) {
	w.log.Debug("http: " + strings.TrimSpace(string(p)))
	return len(p), nil
}

// serverLog takes what net/http has to say; most of it is about clients that
// broke off.
func serverLog(l *slog.Logger) *log.Logger { return log.New(logWriter{l}, "", 0) }
