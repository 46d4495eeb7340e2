package ui

import (
	"context"
	"errors"
	"net/http"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// statusOf maps a refusal's code to an HTTP status.
func statusOf(code coordinator.Code) int {
	switch code {
	case coordinator.Invalid:
		return http.StatusUnprocessableEntity
	case coordinator.NotFound:
		return http.StatusNotFound
	case coordinator.NotAllowed:
		return http.StatusForbidden
	case coordinator.Conflict, coordinator.OverLimit:
		return http.StatusConflict
	default:
		return http.StatusInternalServerError
	}
}

// tooMany is the refusal of somebody who tries too often.
var tooMany = &statusError{http.StatusTooManyRequests,
	"That was tried too often from here. Please wait a minute, then try again."}

// statusError is a refusal that has its own HTTP status.
type statusError struct {
	status int
	text   string
}

func (e *statusError) Error() string { return e.text }

// refusal finds the sentence and status that a visitor may see. ok is false
// for errors that are nobody's business but the log's.
func refusal(err error) (status int, text string, ok bool) {
	var ours *coordinator.Error
	if errors.As(err, &ours) {
		return statusOf(ours.Code), ours.Text, true
	}
	var own *statusError
	if errors.As(err, &own) {
		return own.status, own.text, true
	}
	var theirs *echo.HTTPError
	if errors.As(err, &theirs) {
		return theirs.Code, httpText(theirs.Code), theirs.Code < http.StatusInternalServerError
	}
	return http.StatusInternalServerError, httpText(http.StatusInternalServerError), false
}

// httpText says in words what a bare HTTP status means here.
func httpText(status int) string {
	switch status {
	case http.StatusNotFound:
		return "There is no page at this address."
	case http.StatusMethodNotAllowed:
		return "This address does not take that kind of request."
	case http.StatusRequestEntityTooLarge:
		return "What was sent is too long. Nothing was done."
	case http.StatusServiceUnavailable:
		return "The program is busy or stopping. Nothing was done: please try again in a moment."
	default:
		return "Something went wrong here, and it was written down for whoever runs this program. " +
			"Please try again."
	}
}

// answerError is where every error of a handler ends: known refusals become a
// page with their sentence, all else is logged once and shown as "went wrong".
func (s *Server) answerError(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	status, text, known := refusal(err)
	if !known {
		if errors.Is(err, context.Canceled) && c.Request().Context().Err() != nil {
			return // The visitor went away.
		}
		if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
			status, text = http.StatusServiceUnavailable, httpText(http.StatusServiceUnavailable)
		}
		s.o.Log.Error("a request failed", "method", c.Request().Method, "route", c.Path(), "err", err)
	}
	if c.Request().Method == http.MethodHead {
		_ = c.NoContent(status)
		return
	}
	if e := s.render(c, status, "error", errorView{Status: status, Text: text}); e != nil {
		s.o.Log.Error("the error page failed", "err", e)
		_ = c.String(status, text)
	}
}

// errorView is what the error page shows.
type errorView struct {
	Status int
	Text   string
}
