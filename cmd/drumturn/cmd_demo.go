package main

import "context"

type demoCommand struct {
	Speed float64 `help:"How many times as fast time runs." default:"1"`
}

func (c *demoCommand) Run(ctx context.Context, s streams) error { return nil }
