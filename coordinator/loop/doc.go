// Package loop runs the core: one goroutine per room owns the room's state and
// takes events from its inbox, one more owns the building's people. Change sets
// go to the store; snapshots are published and callers answered only after the commit.
package loop
