package ui

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
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
var tooMany = &statusError{http.StatusTooManyRequests, "too-many",
	"That was tried too often from here. Please wait a minute, then try again.", nil}

// statusError is a refusal that has its own HTTP status.
type statusError struct {
	status    int
	key, text string // as a coordinator.Error has them
	args      []any
}

func (e *statusError) Error() string { return e.text }

// refusal finds the sentence, in their language, and the status that a visitor may see. ok is false
// for errors that are nobody's business but the log's.
func refusal(l *words.Language, err error) (status int, text string, ok bool) {
	var ours *coordinator.Error
	if errors.As(err, &ours) {
		return statusOf(ours.Code), wordRefusal(l, ours.Key, ours.Text, ours.Args), true
	}
	var own *statusError
	if errors.As(err, &own) {
		return own.status, wordRefusal(l, own.key, own.text, own.args), true
	}
	var theirs *echo.HTTPError
	if errors.As(err, &theirs) {
		return theirs.Code, httpText(l, theirs.Code), theirs.Code < http.StatusInternalServerError
	}
	return http.StatusInternalServerError, httpText(l, http.StatusInternalServerError), false
}

// wordRefusal says a refusal in a language; one that the catalogue does not have
// keeps its English sentence.
func wordRefusal(l *words.Language, key, text string, args []any) string {
	key = "refusal." + key
	if !l.Has(key) {
		return text
	}
	said := slices.Clone(args)
	for i := 1; i < len(said); i += 2 {
		switch v := said[i].(type) {
		case time.Duration:
			said[i] = l.Span(v)
		case fieldName:
			if l.Has("field." + v.name) {
				said[i] = l.Say("field." + v.name)
			}
		}
	}
	return l.Say(key, said...)
}

// httpText says in words what a bare HTTP status means here.
func httpText(l *words.Language, status int) string {
	key := "http." + strconv.Itoa(status)
	if !l.Has(key) {
		key = "http.500"
	}
	return l.Say(key)
}

// answerError is where every error of a handler ends: known refusals become a
// page with their sentence, all else is logged once and shown as "went wrong".
func (s *Server) answerError(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		if errors.Is(err, context.Canceled) && c.Request().Context().Err() != nil {
			return // The visitor went away.
		}
		if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
			status, text = http.StatusServiceUnavailable, httpText(s.lang(c), http.StatusServiceUnavailable)
		}
		s.o.Log.Error("a request failed", "method", c.Request().Method, "route", c.Path(), "err", err)
	}
	if c.Request().Method == http.MethodHead {
		_ = c.NoContent(status)
		return
	}
	if e := s.render(c, status, "error", errorView{Status: status, Text: text, Manager: strings.HasPrefix(c.Path(), s.base+"/manager") && s.manager(c) != nil}); e != nil {
		s.o.Log.Error("the error page failed", "err", e)
		_ = c.String(status, text)
	}
}

// errorView is what the error page shows.
type errorView struct {
	Status int
	Text   string
	// Manager is whoever manages, on one of their pages: the way back is to the first of these.
	Manager bool
}
