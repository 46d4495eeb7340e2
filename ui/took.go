package ui

import (
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
)

// took measures how long each answer takes, and says so by the route's template,
// never by the address. Streams are left out: how long somebody looks at a page
// says nothing of the program.
func (s *Server) took(next echo.HandlerFunc) echo.HandlerFunc {
	if s.o.Took == nil {
		return next
	}
	return func(c echo.Context) error {
		begun := time.Now()
		err := next(c)
		if err != nil {
			c.Error(err)
		}
		if route := routeOf(c); !strings.HasSuffix(route, "/events") {
			s.o.Took(c.Request().Method, route, c.Response().Status, time.Since(begun))
		}
		return err
	}
}

// routeOf is the template of the route that answered; empty for none. What is
// answered by a handler with routes of its own has that one's.
func routeOf(c echo.Context) string {
	pattern := c.Request().Pattern
	if _, path, ok := strings.Cut(pattern, " "); ok {
		return path
	}
	if pattern != "" {
		return "" // it answers whatever has no route
	}
	if c.Response().Status == http.StatusNotFound && c.Path() == "" {
		return ""
	}
	return c.Path()
}
