package main

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"time"

	"drumturn/coordinator"
)

// linkCommand prints a one-time link for a new manager. Whoever may run it owns
// the program's computer and its data anyway.
type linkCommand struct {
	fileArgument
	Name string `help:"What the new manager is to be called." default:"New manager"`
}

// linkFor is how long such a link works.
const linkFor = time.Hour

// linkRequest asks the running program for a link, linkAnswer has it.
type (
	linkRequest struct{ Name string }
	linkAnswer  struct{ Link string }
)

// Run asks the running program; the link would lead nowhere without one.
func (c *linkCommand) Run(ctx context.Context, s streams) error {
	file, err := c.load(s.err)
	if err != nil {
		return err
	}
	answer, err := askControl[linkAnswer](ctx, file.Server.Data, "/link", linkRequest{c.Name})
	switch {
	case errors.Is(err, errNotRunning):
		return usageError{fmt.Errorf("the program does not run on %s: start it first, with: drumturn serve %s", file.Server.Data, c.File)}
	case err != nil:
		return err
	}
	fmt.Fprintf(s.out, "Whoever opens this link within the hour becomes a manager. It works once; the other managers stay, and see it in their log.\n\n  %s\n", answer.Link)
	return nil
}

// link makes one.
func (a *app) link(ctx context.Context, req linkRequest) (linkAnswer, error) {
	token := newToken()
	return linkAnswer{a.publicURL() + "/manager/invited?token=" + url.QueryEscape(token)}, a.house.DoPeople(ctx, coordinator.InviteManager{
		Operator: true, Hash: hashOf(token), Name: req.Name, Expires: a.clock.Now().Add(linkFor),
	})
}
